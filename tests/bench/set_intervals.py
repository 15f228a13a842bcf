"""How often the truth is in the intervals that a whole set states, over many geometries."""

import numpy as np

from controller.inspection.head_measured import COVERAGE
from tests.bench.figures import Figure
from tests.controller.inspection.geometries import errors_of

SETS = 1000


def set_intervals() -> list[Figure]:
    """Steps per degree of both axes in sets of 6 to 18 frames, each with a head, a lens and poses of its own."""
    errors = np.array(list(errors_of(range(SETS))))
    shares = 100 * np.mean(np.abs(errors) < COVERAGE, axis=0)
    names = (f"steps per degree of {axis} held, {SETS} sets" for axis in ("pan", "tilt"))
    return [Figure(name, float(share), "%", 97.0, 93.0) for name, share in zip(names, shares, strict=True)]
