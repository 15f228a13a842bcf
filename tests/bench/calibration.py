"""Speed of the arithmetic of each calibration procedure, on one processor core."""

from functools import partial

import numpy as np

from tests.bench.figures import Figure, speed, work_s
from tests.controller.calibration import rigs


def calibration() -> list[Figure]:
    """One procedure from readings to result, after the libraries are loaded."""
    figures = []
    for name, case in rigs.PROCEDURES.items():
        case(np.random.default_rng(0), rigs.World())  # warm up
        seconds, _ = work_s(partial(case, np.random.default_rng(1), rigs.World()))
        figures.append(speed(f"arithmetic of {name}", seconds, 2.5, "numpy"))
    return figures
