"""Minimise an uncovered area: a quasi-Newton method between bounds.

BFGS with an inexact line search still converges if a function has creases, as an uncovered area has wherever a hole
appears or closes (A. Lewis and M. Overton, Mathematical Programming 141:135, 2013). Variables that press against a bound
are fixed there for one step (D. Bertsekas, SIAM J. Control and Optimization 20:221, 1982).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from controller.planning.directions import Array

Function = Callable[[Array], tuple[float, Array]]

STEPS = 400
LINE_TRIES = 12
FIRST_STEP, LARGEST_STEP = 0.1, 0.3  # radians
ENOUGH_FALL, ENOUGH_BEND = 1e-4, 0.9  # the weak Wolfe conditions
# Most descents that get stuck show it early. Give up if this many evaluations in a row leave more than this share.
WINDOW, STALLED_SHARE = 40, 0.7
MOST_DENSE = 1500  # variables; with more, a full curvature matrix costs more than it gains


class _OverError(Exception):
    """Raised to end the descent: the value is low enough, or no longer falling."""


@dataclass(slots=True)
class _Watched:
    """The function, the lowest point seen, and when to give up."""

    function: Function
    enough: float
    lowest: float = np.inf
    place: Array | None = None
    history: list[float] | None = None

    def __call__(self, place: Array) -> tuple[float, Array]:
        value, slope = self.function(place)
        if value < self.lowest:
            self.lowest, self.place = value, place.copy()
        history = self.history = self.history or []
        history.append(self.lowest)
        stalled = len(history) > WINDOW and self.lowest > STALLED_SHARE * history[-1 - WINDOW]
        if value < self.enough or stalled:
            raise _OverError
        return value, slope


def descend(function: Function, start: Array, low: Array, high: Array, enough: float) -> tuple[Array, float]:
    """The lowest point found from `start` between `low` and `high`, and its value; ends below `enough` or when stuck.

    `function` returns its value and its gradient. Its exceptions pass through.
    """
    watched = _Watched(function, enough)
    start = np.clip(start, low, high)
    try:
        if len(start) > MOST_DENSE:
            from scipy.optimize import minimize  # noqa: PLC0415  takes time to load, and hardly any plan needs it

            limits = [(None if a == -np.inf else a, None if b == np.inf else b) for a, b in zip(low, high, strict=True)]
            minimize(watched, start, jac=True, method="L-BFGS-B", bounds=limits, options={"maxiter": STEPS})
        else:
            _quasi_newton(watched, start, low, high)
    except _OverError:
        pass
    assert watched.place is not None
    return watched.place, watched.lowest


def _quasi_newton(function: Function, place: Array, low: Array, high: Array) -> None:
    value, slope = function(place)
    inverse = np.eye(len(place))
    fresh = True
    for _ in range(STEPS):
        held = ((place <= low) & (slope > 0)) | ((place >= high) & (slope < 0))
        free_slope = np.where(held, 0.0, slope)
        way = np.where(held, 0.0, -(inverse @ free_slope))
        if not way @ slope < 0:
            inverse, way, fresh = np.eye(len(place)), -free_slope, True
        longest = float(np.abs(way).max())
        if not way @ slope < -1e-18:
            return
        step = min(1.0, (FIRST_STEP if fresh else LARGEST_STEP) / longest)
        found = _along(function, place, value=value, slope=slope, way=way, step=step, limits=(low, high))
        if found is None:
            return
        moved, bent = found[0] - place, found[2] - slope
        place, value, slope = found
        along = float(moved @ bent)
        if along > 1e-18:
            if fresh:
                inverse, fresh = np.eye(len(place)) * (along / float(bent @ bent)), False
            turned = inverse @ bent
            cross = np.outer(moved, turned)
            inverse -= (cross + cross.T) / along
            inverse += np.outer(moved, moved) * ((1 + float(bent @ turned) / along) / along)


def _along(
    function: Function, place: Array, *, value: float, slope: Array, way: Array, step: float, limits: tuple[Array, Array]
) -> tuple[Array, float, Array] | None:
    """The next point along `way`, its value and gradient; None if no step lowers the value.

    It prefers a step that meets both Wolfe conditions (lower by enough, slope flat enough) to one that is only lower.
    """
    shortest, longest = 0.0, np.inf
    for _ in range(LINE_TRIES):
        there = np.clip(place + step * way, *limits)
        new, new_slope = function(there)
        if new > value + ENOUGH_FALL * float(slope @ (there - place)):
            longest = step
        elif new_slope @ way < ENOUGH_BEND * (slope @ way):
            shortest = step
        else:
            return there, new, new_slope
        step = (shortest + longest) / 2 if longest < np.inf else 2 * shortest
    return (there, new, new_slope) if new < value else None
