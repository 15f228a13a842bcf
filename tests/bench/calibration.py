"""Speed of the arithmetic of each calibration procedure, on one processor core."""

from functools import partial

import numpy as np

from tests.bench.figures import Figure, work_s
from tests.controller.calibration import rigs

CASES = {
    "steps per degree by angles": rigs.angles_of_a_turn_with_a_wave,
    "steps per degree by turns": rigs.whole_turns,
    "backlash": rigs.play,
    "level": rigs.lean,
    "verify": rigs.repeatability,
}


def calibration() -> list[Figure]:
    """One procedure from readings to result; the libraries are loaded already."""
    figures = []
    for name, case in CASES.items():
        case(np.random.default_rng(0), 0)  # loads what is loaded once
        seconds, _ = work_s(partial(case, np.random.default_rng(1), 1))
        figures.append(Figure(f"arithmetic of {name}", seconds, "s", 0.2))
    return figures
