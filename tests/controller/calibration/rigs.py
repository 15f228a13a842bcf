"""Simulated rigs with known truth in many kinds of world: what each procedure states, and what is true.

A rig is an instrument and a head, read once by one procedure. A world is the errors of the readings.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from controller.calibration.axis_findings import backlash_found, level_found, steps_found, verify_found
from controller.calibration.backlash import from_approaches
from controller.calibration.finding import Finding, Stated
from controller.calibration.level import from_tilts
from controller.calibration.readings import ReadingsRefused
from controller.calibration.records import AxisName
from controller.calibration.steps import from_angles, from_turns
from controller.calibration.verify import from_visits, visiting_order
from controller.optics.outline import Array
from sim.lean import leaned
from tests.controller.calibration.given import readings

Rng = np.random.Generator
GRIDS_DEG = (0.1, 0.05, 0.25, 0.01, 0.02, 1 / 60, 5 / 60)
AUTOREGRESSION = 0.8


@dataclass(frozen=True, slots=True)
class World:
    """The errors of readings. Sizes in standard deviations of one reading; `count` readings, 0 for the usual number.

    `grid`: the step of the instrument; `drift`: over the whole set; `outliers`: that many are far off; `correlation`:
    successive errors are correlated; `stated`: the procedure knows the scatter; `sorted`: read in the order of the
    positions, not shuffled with the first again at the end. `wave`: the true once-per-turn error; `prior`: the one that
    the kit states as possible; `span_deg`: of the positions of the axis.
    """

    grid: float = 0.0
    count: int = 0
    drift: float = 0.0
    outliers: int = 0
    correlation: bool = False
    stated: bool = False
    sorted: bool = False
    wave: float = 0.0
    prior: float = 0.0
    span_deg: float = 240.0


@dataclass(frozen=True, slots=True)
class Instrument:
    """An instrument of a world: its scatter and the step of its grid, in degrees."""

    world: World
    scatter_deg: float
    step_deg: float

    @classmethod
    def of(cls, world: World, rng: Rng) -> Instrument:
        """Grids as on usual scales and displays; the scatter follows."""
        if world.grid == 0:
            return cls(world, 10 ** rng.uniform(-3, -1), 0.0)
        step = float(rng.choice(GRIDS_DEG))
        return cls(world, step / world.grid, step)

    def read(self, rng: Rng, true: Array) -> Array:
        """The readings at these places, one after the other."""
        error = rng.normal(size=len(true))
        if self.world.correlation:
            for number in range(1, len(true)):
                error[number] = AUTOREGRESSION * error[number - 1] + 0.6 * error[number]
        error += self.world.drift * np.linspace(0, 1, len(true))
        far = rng.choice(len(true), self.world.outliers, replace=False)
        error[far] += rng.choice([-1, 1], len(far)) * rng.uniform(10, 30, len(far))
        shown = true + self.scatter_deg * error
        return np.round(np.round(shown / self.step_deg) * self.step_deg, 6) if self.step_deg else shown

    @property
    def stated_deg(self) -> float | None:
        """The error stated to the procedure."""
        return self.scatter_deg if self.world.stated else None


def in_time(rng: Rng, world: World, places: Array) -> Array:
    """The places in the order of reading."""
    if world.sorted:
        return places
    mixed = rng.permutation(places[:-1])
    return np.append(mixed, mixed[0])


Told = tuple[Finding, dict[str, float]]
"""A finding, and the truths of those of its values that have one."""


def by_angles(rng: Rng, world: World) -> Told:
    instrument, rate = Instrument.of(world, rng), rng.uniform(50, 600)
    low = rng.uniform(-180, 180)
    places = in_time(rng, world, np.linspace(low, low + world.span_deg, world.count or 13))
    steps = np.round(places * rate)
    amplitude, phase = world.wave * instrument.scatter_deg, rng.uniform(0, 2 * math.pi)
    true = rng.uniform(-5, 5) + steps / rate + amplitude * np.cos(np.radians(steps / rate) - phase)
    given = readings(None, commanded_steps=steps, angle_deg=instrument.read(rng, true))
    nominal = rate * rng.uniform(0.85, 1.15)
    result = from_angles(given, nominal, instrument.stated_deg, world.prior * instrument.scatter_deg)
    return steps_found(result, given, AxisName.PAN, nominal), {"steps_per_degree": rate}


def by_turns(rng: Rng, world: World) -> Told:
    """Each end of a turn is aimed at the mark with an error, and is on a whole step."""
    instrument, rate, rows = Instrument.of(world, rng), rng.uniform(50, 600), world.count or 5
    turns, begin = rng.integers(1, 4, rows).astype(float), rng.uniform(0, 1000, rows)
    aims = instrument.read(rng, np.zeros(2 * rows)).reshape(rows, 2)
    steps = np.round(begin + rate * (360 * turns + aims[:, 1])) - np.round(begin + rate * aims[:, 0])
    given = readings(None, turns=turns, steps=steps)
    result = from_turns(given, rate, instrument.stated_deg)
    return steps_found(result, given, AxisName.PAN, rate), {"steps_per_degree": rate}


def play(rng: Rng, world: World) -> Told:
    """An axis that lags by half its backlash on either side, with an error of its own at each place."""
    instrument, places, times = Instrument.of(world, rng), 5, max(2, round((world.count or 50) / 10))
    targets = rng.uniform(0, 360, places).round(1)
    sizes = rng.uniform(0, 0.3) + rng.choice([0.0, 0.01]) * rng.uniform(-1, 1, places)
    own = rng.uniform(-0.1, 0.1, places)
    where = np.concatenate([np.tile(np.arange(places), 2)] * times)
    up = np.concatenate([np.repeat([True, False], places)] * times)
    mixed = np.argsort(where, kind="stable") if world.sorted else rng.permutation(len(where))
    where, up = where[mixed], up[mixed]
    lag = sizes / 2
    measured = instrument.read(rng, targets[where] + own[where] + np.where(up, -lag[where], lag[where]))
    given = readings(["up" if each else "down" for each in up], target_deg=targets[where], measured_deg=measured)
    result = from_approaches(given, instrument.stated_deg)
    low, high, width = own - lag, own + lag, 4 * instrument.scatter_deg
    truths = {
        "reversal_deg": float(np.abs(sizes).max()),
        "mean_reversal_deg": float(-sizes.mean()),
        "repeatability_deg": width + float(np.abs(sizes).max()),
        "accuracy_deg": width + float(max(low.max(), high.max()) - min(low.min(), high.min())),
    }
    return backlash_found(result, given, AxisName.PAN, None), truths


def lean(rng: Rng, world: World) -> Told:
    instrument = Instrument.of(world, rng)
    size, toward = rng.uniform(0, 3), rng.uniform(0, 360)
    yaws = in_time(rng, world, np.linspace(0, 360, world.count or 9))  # the last is the first again
    true = np.array([leaned(float(yaw), 0.0, size, toward)[1] for yaw in yaws]) + rng.normal()
    given = readings(None, yaw_deg=yaws % 360, reading_deg=instrument.read(rng, true))
    result = from_tilts(given, instrument.stated_deg)
    sine = math.sin(math.radians(size))
    turned = (toward - result.toward_deg + 180) % 360 - 180
    truths = {
        "lean_deg": size,
        "toward_deg": result.toward_deg + turned,
        "lean_to_0_deg": math.degrees(math.asin(sine * math.cos(math.radians(toward)))),
        "lean_to_90_deg": math.degrees(math.asin(sine * math.sin(math.radians(toward)))),
    }
    return level_found(result, given, (), 60.0), truths


def repeatability(rng: Rng, world: World) -> Told:
    """Equal errors in all directions: the mean distance is s sqrt(pi/2), its variance s^2 (2 - pi/2) (Rayleigh).

    All are near the horizon, where a degree of yaw is a degree on the sky.
    """
    instrument, places = Instrument.of(world, rng), 5
    poses = [
        (float(yaw), float(pitch))
        for yaw, pitch in zip(rng.uniform(0, 360, places).round(1), range(-4, 5, 2), strict=True)
    ]
    order = np.array(visiting_order(poses, max(3, round((world.count or 25) / places)), int(rng.integers(1 << 30))))
    off = {pose: rng.normal(0, 0.05, 2) for pose in poses}
    missed = np.array([off[(yaw, pitch)] for yaw, pitch, _ in order])
    given = readings(
        None,
        target_yaw_deg=order[:, 0],
        target_pitch_deg=order[:, 1],
        yaw_deg=instrument.read(rng, order[:, 0] + missed[:, 0]),
        pitch_deg=instrument.read(rng, order[:, 1] + missed[:, 1]),
    )
    accuracy = max(float(np.hypot(*each)) for each in off.values())
    repeat = instrument.scatter_deg * (math.sqrt(math.pi / 2) + 3 * math.sqrt(2 - math.pi / 2))
    truths = {
        "accuracy_deg": accuracy,
        "repeatability_deg": repeat,
        "pooled_repeatability_deg": repeat,
        "worst_deg": accuracy + repeat,
    }
    return verify_found(from_visits(given, instrument.stated_deg), given, 1.0, "the requested limit is"), truths


Procedure = Callable[[Rng, World], Told]
PROCEDURES: dict[str, Procedure] = {
    "steps by angles": by_angles,
    "steps by turns": by_turns,
    "backlash": play,
    "level": lean,
    "verify": repeatability,
}


@dataclass(frozen=True, slots=True)
class Tally:
    """Of many rigs: how many were refused, and for how many no share of cases was stated; of the others, how often the
    interval of each value contained the truth.
    """

    refused: float
    unstated: float
    held: dict[str, float]


def tally(procedure: Procedure, world: World, rigs: int) -> Tally:
    """Read so many rigs of a world with one procedure."""
    hits: list[dict[str, bool]] = []
    refused = unstated = 0
    for seed in range(rigs):
        try:
            finding, truths = procedure(np.random.default_rng(seed), world)
        except ReadingsRefused:
            refused += 1
            continue
        if finding.stated is not Stated.ALL:
            unstated += 1
            continue
        hits.append({name: _within(finding.interval(name), truth) for name, truth in truths.items()})
    names: Iterable[str] = hits[0] if hits else ()
    held = {name: float(np.mean([each[name] for each in hits])) for name in names}
    return Tally(refused / rigs, unstated / rigs, held)


def _within(interval: tuple[float, float], truth: float) -> bool:
    return interval[0] <= truth <= interval[1]


def share_with_outliers(procedure: Procedure, world: World, rigs: int) -> float:
    """The share of rigs whose finding leaves readings out."""
    found = [procedure(np.random.default_rng(seed), world)[0] for seed in range(rigs)]
    return sum(bool(each.more["outliers"]) for each in found) / rigs
