"""Many small made-up sets, each of another geometry, and how often the stated intervals contain the truth."""

from collections.abc import Iterator

import numpy as np

from controller.inspection.adjustment import adjust
from controller.inspection.head_measured import Measured, Unmeasured, measure_head
from controller.inspection.pose_checks import as_sure_as_seen
from controller.inspection.poses import HeadFrame, pan_axis
from tests.controller.inspection.sets import ASSUMED, MadeUp, grid, make, with_sd

AXIS = pan_axis(0, 0)
PAN, TILT = 88.9, 44.4  # steps per degree


def geometry(seed: int) -> MadeUp:
    """A set of two rows or three, with 3 to 6 columns, different each time."""
    rng = np.random.default_rng(seed)
    pans = np.arange(rng.integers(3, 7)) * rng.uniform(18, 32) + rng.uniform(-180, 180)
    tilts = rng.uniform(-25, 0) + np.arange(rng.integers(2, 4)) * rng.uniform(16, 28)
    frames = grid(pans, tilts, sd_deg=float(rng.choice([0.01, 0.02, 0.05])), both_ways=True)
    return make(rng, frames, points=int(rng.integers(12, 20)))


def errors_of(seeds: range, *, scatter_known: bool = True) -> Iterator[tuple[float, float]]:
    """Errors over standard uncertainties of the steps per degree of pan and tilt, for each geometry.

    If the head's scatter is not known, the kit states three times as much and the set says how much it was.
    """
    for seed in seeds:
        made = geometry(seed)
        frames = made.frames
        if not scatter_known:
            stated = with_sd(frames, 3 * frames[0].yaw_sd_deg)
            frames = as_sure_as_seen(stated, adjust(stated, made.links, ASSUMED, AXIS))
        yield _ratios(made, frames)


def _ratios(made: MadeUp, frames: list[HeadFrame]) -> tuple[float, float]:
    head = measure_head(frames, adjust(frames, made.links, ASSUMED, AXIS), PAN, TILT)
    return (
        _ratio(head.pan_steps_per_degree, PAN / (1 + float(made.head[0]))),
        _ratio(head.tilt_steps_per_degree, TILT / (1 + float(made.head[1]))),
    )


def _ratio(found: Measured | Unmeasured, truth: float) -> float:
    assert isinstance(found, Measured)
    return (found.value - truth) / found.sd
