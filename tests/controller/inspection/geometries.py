"""Many small made-up sets, each of another geometry, and how often the stated intervals contain the truth."""

from collections.abc import Iterator

import numpy as np

from controller.inspection.adjustment import adjust
from controller.inspection.head_measured import Measured, measure_head
from controller.inspection.poses import HeadFrame, pan_axis
from tests.controller.inspection.sets import ASSUMED, MadeUp, grid, make

AXIS = pan_axis(0, 0)
PAN, TILT = 88.9, 44.4  # steps per degree


def geometry(seed: int) -> MadeUp:
    """A set of two rows or three, with 3 to 6 columns, different each time."""
    rng = np.random.default_rng(seed)
    pans = np.arange(rng.integers(3, 7)) * rng.uniform(18, 32) + rng.uniform(-180, 180)
    tilts = rng.uniform(-25, 0) + np.arange(rng.integers(2, 4)) * rng.uniform(16, 28)
    frames = grid(pans, tilts, sd_deg=float(rng.choice([0.01, 0.02, 0.05])), both_ways=True)
    return make(rng, frames, points=int(rng.integers(12, 20)))


def errors_of(seeds: range) -> Iterator[tuple[float, float]]:
    """Errors over standard uncertainties of the steps per degree of pan and tilt, for each geometry."""
    for seed in seeds:
        made = geometry(seed)
        yield ratios(made, made.frames)


def ratios(made: MadeUp, frames: list[HeadFrame]) -> tuple[float, float]:
    head = measure_head(frames, adjust(frames, made.links, ASSUMED, AXIS), PAN, TILT)
    found = head.pan_steps_per_degree, head.tilt_steps_per_degree
    assert isinstance(found[0], Measured)
    assert isinstance(found[1], Measured)
    pan, tilt = (
        (each.value - nominal / (1 + scale)) / each.sd
        for each, nominal, scale in zip(found, (PAN, TILT), made.head[:2], strict=True)
    )
    return float(pan), float(tilt)
