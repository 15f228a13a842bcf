"""How often the truth is inside the stated 95 %, by procedure and world: 400 rigs a cell, beside its target.

If the model is true, 92 to 98 %. If an error is included at its worst (readings coarser than their scatter, a possible
wave that is absent, the largest of several figures), more than 98 % may contain the truth. If the model is not true, sets
are refused or no share is stated, and of the rest at least 90 % contain it.
"""

from collections.abc import Iterator
from functools import cache

from tests.bench.figures import Figure
from tests.controller.calibration.rigs import PROCEDURES, Tally, World, tally

RIGS = 400
MORE_RIGS = 2400  # if few are stated
FEWEST = 20  # stated sets, needed to measure a share
LEAST, MOST, LEAST_BESIDE_THE_MODEL = 0.92, 0.98, 0.90

EXACT = {  # values whose interval is built to contain 95 %, not at least 95
    "steps by angles": ("steps_per_degree",),
    "steps by turns": ("steps_per_degree",),
    "backlash": ("mean_reversal_deg",),
    "level": ("lean_to_0_deg", "lean_to_90_deg"),
    "verify": (),
}
COUNTS = {
    "steps by angles": (4, 6, 12, 36),
    "steps by turns": (4, 12, 36),
    "backlash": (20, 100),
    "level": (4, 6, 12, 36),
    "verify": (15, 60),
}


def cells() -> Iterator[tuple[str, str, World, str]]:
    """Procedure, the name of the world, the world, and the target: exact, at least, or outside the model."""
    for name in PROCEDURES:
        yield name, "scatter alone", World(), "exact"
        yield name, "scatter, stated", World(stated=True), "at least" if name in {"backlash", "verify"} else "exact"
        for grid in (0.3, 1.0, 3.0, 10.0):
            asked = "exact" if name.startswith("steps") and grid <= 1 else "at least"
            yield name, f"grid {grid:g} scatters", World(grid=grid), asked
        for count in COUNTS[name]:
            # The rounding of many turns to whole steps may be the same each time, so it is not averaged.
            yield name, f"{count} readings", World(count=count), "at least" if name == "steps by turns" else "exact"
        yield name, "one outlier", World(outliers=1), "beside"
        yield name, "errors hang together by 0.8", World(correlation=True), "beside"
        for drift in (1.0, 3.0):
            yield name, f"drift of {drift:g} scatters", World(drift=drift), "beside"
        yield name, "sorted, errors hang together", World(sorted=True, correlation=True), "beside"
    for span in (60.0, 120.0, 240.0, 360.0):
        for wave, prior in ((0.0, 3.0), (1.0, 1.0), (3.0, 3.0)):
            world = World(span_deg=span, wave=wave, prior=prior)
            told = f"{span:.0f}°, {wave:g} scatters once per turn, up to {prior:g} by the kit"
            yield "steps by angles", told, world, "at least"
    whole = World(span_deg=360.0, wave=10.0, prior=1.0, count=25)
    yield "steps by angles", "360°, 10 scatters once per turn, up to 1 by the kit", whole, "exact"


def _rigs(name: str, world: World) -> int:
    return MORE_RIGS if name == "verify" and world == World(correlation=True) else RIGS


@cache
def _tally(name: str, world: World) -> Tally:
    return tally(PROCEDURES[name], world, _rigs(name, world))


def intervals() -> list[Figure]:
    """A figure for each value of each cell, and the shares refused or stated without 95 %."""
    figures = []
    for name, told, world, asked in cells():
        found = _tally(name, world)
        figures.append(Figure(f"{name}, {told}: refused", found.refused, "", None if asked == "beside" else 0.05))
        figures.append(Figure(f"{name}, {told}: no share stated", found.unstated, ""))
        if (1 - found.refused - found.unstated) * _rigs(name, world) < FEWEST:
            continue
        for value, held in found.held.items():
            least = LEAST_BESIDE_THE_MODEL if asked == "beside" else LEAST
            most = MOST if asked == "exact" and value in EXACT[name] else None
            figures.append(Figure(f"{name}, {told}: {value} holds", held, "", most, least))
    return figures
