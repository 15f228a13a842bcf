"""Readings as from a file."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from controller.calibration.readings import Readings


def readings(direction: Sequence[str] | None = None, **columns: Any) -> Readings:
    """Columns of equal length; the lines are 2, 3, ... as below a line of names."""
    numbers = {name: np.asarray(column, dtype=float) for name, column in columns.items()}
    rows = len(next(iter(numbers.values())))
    words = {} if direction is None else {"direction": tuple(direction)}
    return Readings("readings.csv", tuple(range(2, rows + 2)), numbers, words)
