"""The key figure of calibration: how often the truth is inside the interval claimed for 95 of 100 cases."""

from __future__ import annotations

from collections.abc import Iterable

CASES = 1000


def share_held(intervals: Iterable[tuple[float, float]], truths: Iterable[float]) -> float:
    """The share of cases in which the truth is inside its interval."""
    held = [low <= truth <= high for (low, high), truth in zip(intervals, truths, strict=True)]
    assert len(held) == CASES
    return sum(held) / len(held)
