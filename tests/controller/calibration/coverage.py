"""The headline of calibration: how often the truth lies in the interval that is stated to hold it in 95 of 100 cases."""

from __future__ import annotations

from collections.abc import Iterable

CASES = 1000


def share_held(intervals: Iterable[tuple[float, float]], truths: Iterable[float]) -> float:
    """The share of cases in which the truth lies inside its interval."""
    held = [low <= truth <= high for (low, high), truth in zip(intervals, truths, strict=True)]
    assert len(held) == CASES
    return sum(held) / len(held)
