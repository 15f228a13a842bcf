"""How often the truth is in the intervals that a whole set states, over many geometries."""

import numpy as np

from controller.inspection.head_measured import COVERAGE
from tests.bench.figures import Figure
from tests.controller.inspection.geometries import errors_of

SETS = 1000


def set_intervals() -> list[Figure]:
    """Steps per degree of both axes in sets of 6 to 18 frames, each with a head, a lens and poses of its own.

    The head's scatter is known, or the kit states three times as much and the set shows it.
    """
    figures = []
    for known, told in ((True, "known scatter"), (False, "scatter from the set")):
        errors = np.array(list(errors_of(range(SETS), scatter_known=known)))
        shares = 100 * np.mean(np.abs(errors) < COVERAGE, axis=0)
        figures += [
            Figure(f"steps per degree of {axis} held, {told}", float(share), "%", 97.0, 93.0)
            for axis, share in zip(("pan", "tilt"), shares, strict=True)
        ]
    return figures
