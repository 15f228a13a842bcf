"""Which shapers a program tells the board: those with which its own moves, waits included, take the least time."""

from collections.abc import Callable, Sequence

from controller.kit.kit import Kit
from controller.program.arrival import Arrival, Place, turning_ms, with_shapers
from controller.program.program import AxisSetting
from controller.shaping.rig import modes_of
from controller.shaping.ringing import Mode
from controller.shaping.shapers import extra_insensitive, for_band, zv, zvd, zvdd
from protocol.errors import WrongUse
from protocol.shaper import Shaper
from protocol.units import MS

RESIDUES = (0.3, 0.2, 0.1, 0.07, 0.05, 0.03, 0.02, 0.01, 0.007, 0.005, 0.003)
"""What shapers made for the whole band may leave of a swing; which of them pays depends on the moves."""
MADE = (zv, zvd, zvdd, extra_insensitive)
GRAIN = 64
"""Moves that differ by less than a 64th of the longest are taken for one."""


def candidates(modes: Sequence[Mode]) -> list[Shaper]:
    """Shapers for an axis with these modes: none, ZV, ZVD and one more, EI, and those for the band.

    With two modes each is made for one of them alone.
    """
    found = [Shaper()]
    for mode in modes:
        found += [shaper for make in MADE if (shaper := _unless_refused(make, mode)) is not None]
        found += [shaper for residue in RESIDUES if (shaper := for_band(mode, residue)) is not None]
    return list(dict.fromkeys(found))


def _unless_refused(make: Callable[[Mode], Shaper], mode: Mode) -> Shaper | None:
    """A mode may be too fast, or too slow, for a board to time its impulses."""
    try:
        return make(mode)
    except WrongUse:
        return None


def choose(
    kit: Kit, settings: tuple[AxisSetting, AxisSetting], stops: Sequence[tuple[Place, float]], exposed_s: float
) -> tuple[Shaper, Shaper]:
    """Shapers of pan and tilt for a head that visits `stops` (place, pitch in degrees) in this order from zero."""
    if not kit.board.shapes_ramps or kit.head.settle_ms is not None or not stops:
        return Shaper(), Shaper()
    moves = _grouped(stops)
    best = (Shaper(), Shaper())
    pans, tilts = (candidates(modes_of(kit.head, axis)) for axis in (kit.head.pan, kit.head.tilt))
    pairs = list(zip(pans, tilts, strict=False))
    costs = {pair: _cost_ns(kit, with_shapers(settings, pair), moves, exposed_s) for pair in {best, *pairs}}
    best = min(costs, key=lambda pair: (costs[pair], pair[0].duration_ms + pair[1].duration_ms))
    for axis, own in ((0, pans), (1, tilts)):
        for shaper in own:
            pair = (shaper, best[1]) if axis == 0 else (best[0], shaper)
            if pair not in costs:
                costs[pair] = _cost_ns(kit, with_shapers(settings, pair), moves, exposed_s)
        best = min(costs, key=lambda pair: (costs[pair], pair[0].duration_ms + pair[1].duration_ms))
    return best


def _grouped(stops: Sequence[tuple[Place, float]]) -> list[tuple[Place, Place, float, int]]:
    """Moves as (from, to, pitch in degrees, how many are like this), alike ones as one."""
    here: Place = (0, 0)
    moves = []
    for there, pitch_deg in stops:
        moves.append((here, there, pitch_deg))
        here = there
    grain = [max(1, max(abs(there[axis] - here[axis]) for here, there, _ in moves) // GRAIN) for axis in (0, 1)]
    groups: dict[tuple[int, ...], list[tuple[Place, Place, float]]] = {}
    for here, there, pitch_deg in moves:
        key = (*(round(abs(there[axis] - here[axis]) / grain[axis]) for axis in (0, 1)), round(pitch_deg / 10))
        groups.setdefault(key, []).append((here, there, pitch_deg))
    return [(*alike[0], len(alike)) for alike in groups.values()]


def _cost_ns(
    kit: Kit,
    settings: tuple[AxisSetting, AxisSetting],
    moves: Sequence[tuple[Place, Place, float, int]],
    exposed_s: float,
) -> int:
    arrival = Arrival(kit, settings)
    return sum(
        count * (turning_ms(settings, here, there) * MS + arrival.settle_ns((here, there), pitch_deg, exposed_s))
        for here, there, pitch_deg, count in moves
    )
