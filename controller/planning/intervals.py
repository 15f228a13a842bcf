"""Unions of intervals on a line, and intersections of intervals on a circle."""

from collections.abc import Iterator

import numpy as np

from controller.planning.directions import Array

TURN = 2 * np.pi
LONG = np.pi + 0.01  # for intervals up to this length, at most the excess over half a turn is given up


def in_common(start: Array, end: Array) -> Iterator[tuple[Array, Array]]:
    """The intersection of all intervals along the last axis of a circle, one piece at a time as (start, end).

    An interval from -inf to inf is the whole circle; one with start > end is empty. Intervals of at most half a turn
    leave one piece. Each longer one may leave another piece, which begins at its start.
    """
    yield start.max(axis=-1), end.min(axis=-1)
    length = end - start
    some = np.flatnonzero((np.isfinite(length) & (length > LONG)).reshape(len(start), -1).any(axis=1))
    if len(some) == 0:
        return
    first, length = start[some], length[some]
    whole = length == np.inf
    for edge in range(start.shape[-1]):
        begin = np.where(np.isfinite(first[..., edge]), first[..., edge], 0.0)
        with np.errstate(invalid="ignore"):
            rest = np.where(whole, np.inf, length - (begin[..., None] - first) % TURN)
        rest[..., edge] = length[..., edge]
        shortest = np.where(np.isfinite(rest) | whole, rest, -np.inf).min(axis=-1)
        good = np.isfinite(first[..., edge]) & np.isfinite(shortest) & (shortest > 0)
        piece_start, piece_end = np.full(start.shape[:-1], np.inf), np.full(start.shape[:-1], -np.inf)
        piece_start[some] = np.where(good, begin, np.inf)
        piece_end[some] = np.where(good, begin + shortest, -np.inf)
        yield piece_start, piece_end


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
