"""The facts about files and exposures before pairing."""

from __future__ import annotations

import numpy as np
import pytest

from controller.matching.evidence import ExposureStamp, FileStamp, evidence_of, tick_of


@pytest.mark.parametrize(
    ("times", "tick"),
    [
        ([1.0, 2.0, 9.0], 1.0),
        ([1.25, 2.25, 9.25], 1.0),  # always the same fraction: the camera does not know it
        ([1.1, 2.9, 3.0], 0.1),
        ([1.12, 2.9, 3.07], 0.01),
        ([1.123, 2.9, 3.07], 0.001),
    ],
)
def test_how_finely_a_clock_is_written(times: list[float], tick: float) -> None:
    assert tick_of(np.array(times)) == tick


def test_shutter_times_are_compared_within_rounding() -> None:
    """1/64 s is written as 1/60, and 0.3 s may be a third. Common practice, no source."""
    exposures = [ExposureStamp(0.0, 1 / 64), ExposureStamp(1.0, 1 / 3)]
    evidence = evidence_of([FileStamp(0.0, 1 / 60), FileStamp(1.0, 0.3), FileStamp(2.0), FileStamp(3.0, 4.0)], exposures)
    of_exposure = evidence.alike[:, evidence.which]
    assert of_exposure.tolist() == [[1, -1], [-1, 1], [0, 0], [-1, -1]]
    assert evidence.usual.tolist() == [True, True, True, False]


def test_steps_of_a_third_of_a_stop_are_told_apart() -> None:
    """Neighbours are closer than the rounding, so the nearest is meant and others are possible."""
    shutters = [0.01, 0.01 * 2 ** (1 / 3), 0.01 * 2 ** (2 / 3)]
    exposures = [ExposureStamp(float(n), shutter) for n, shutter in enumerate(shutters)]
    evidence = evidence_of([FileStamp(float(n), shutter) for n, shutter in enumerate((0.01, 0.0125, 0.016))], exposures)
    assert evidence.alike.tolist() == [[1, 0, -1], [0, 1, 0], [-1, 0, 1]]
