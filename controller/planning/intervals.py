"""Unions of intervals."""

import numpy as np

from controller.planning.directions import Array


def longest_run(start: Array, end: Array) -> tuple[Array, Array]:
    """The longest interval in the union of the intervals along the last axis; empty ones have start > end."""
    if start.shape[-1] == 1:
        return start[..., 0], end[..., 0]
    order = np.argsort(start, axis=-1)
    start, end = np.take_along_axis(start, order, axis=-1), np.take_along_axis(end, order, axis=-1)
    reached = np.maximum.accumulate(end, axis=-1)
    begins = np.ones(start.shape, dtype=bool)
    begins[..., 1:] = start[..., 1:] > reached[..., :-1]
    run_start = np.maximum.accumulate(np.where(begins, start, -np.inf), axis=-1)
    with np.errstate(invalid="ignore"):
        length = np.where(np.isfinite(start) | np.isneginf(start), reached - run_start, -np.inf)
    length = np.where(np.isnan(length), -np.inf, length)
    best = length.argmax(axis=-1)[..., None]
    run_end = np.take_along_axis(reached, best, axis=-1)[..., 0]
    return np.take_along_axis(run_start, best, axis=-1)[..., 0], run_end
