"""The normal equations of the adjustment, summed link by link.

Solved as a full matrix: with three unknowns a frame that takes less time than a sparse solver's bookkeeping for several
hundred frames, and all covariances are wanted anyway.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from controller.inspection.lens_model import TERMS, Array
from controller.inspection.links import Misses, Points, misses
from controller.inspection.poses import HEAD_TERMS
from controller.inspection.problem import Problem, SetState, off_head

RIDGE = 1e-13  # of a normal matrix with a diagonal of 1: keeps rounding from making it indefinite


@dataclass(frozen=True, slots=True, eq=False)
class Normal:
    """The normal matrix and gradient, and the lengths (points,) of the whitened residuals; infinite if not seen."""

    matrix: Array
    gradient: Array
    lengths: Array

    def solved(self, right: Array) -> Array:
        """The solution for a right-hand side, or for several as columns."""
        return solved(self.matrix, right)


def solved(matrix: Array, right: Array) -> Array:
    """Solve normal equations for a right-hand side, or for several as columns. Never raises LinAlgError."""
    scale = 1 / np.sqrt(matrix.diagonal())
    scaled = matrix * scale[:, None] * scale
    columns = right.reshape(len(right), -1) * scale[:, None]
    ridge = RIDGE
    while True:
        scaled[np.diag_indices_from(scaled)] = 1.0 + ridge
        try:
            found = cho_solve(cho_factor(scaled), columns) * scale[:, None]
            return np.asarray(found.reshape(right.shape))
        except np.linalg.LinAlgError:
            ridge *= 1000.0  # ends: a matrix with a diagonal this dominant has a factor


def normal_at(
    problem: Problem, points: Points, state: SetState, terms: tuple[str, ...], weigh: Callable[[Array], Array]
) -> Normal:
    """The normal equations at a state. `weigh` makes weights (n,) of lengths (n,); points not seen weigh nothing."""
    count, lens = len(problem.frames), len(terms)
    matrix, gradient = np.zeros((3 * count + lens + len(HEAD_TERMS),) * 2), np.zeros(3 * count + lens + len(HEAD_TERMS))
    lengths, seen = np.full(len(points.first), np.inf), 0
    for part in points.parts():
        missed = misses(part, state.lens, state.rotations)
        rows = slice(seen, seen + len(part.first))
        seen = rows.stop
        length = np.hypot(missed.residuals[:, 0], missed.residuals[:, 1])
        lengths[rows] = np.where(missed.seen, length, np.inf)
        _add_points(part, missed, np.where(missed.seen, weigh(lengths[rows]), 0.0), terms, matrix, gradient)
    _add_head(problem, state, matrix, gradient)
    places = np.arange(3 * count, 3 * count + lens)
    spread = problem.priors.of_terms(problem.lens, terms)
    assumed, now = ([getattr(each, term) for term in terms] for each in (problem.lens, state.lens))
    matrix[places, places] += 1 / spread**2
    gradient[places] += (np.array(now) - assumed) / spread**2
    return Normal(matrix, gradient, lengths)


def _add_points(
    points: Points, missed: Misses, weights: Array, terms: tuple[str, ...], matrix: Array, gradient: Array
) -> None:
    chosen = [TERMS.index(term) for term in terms]
    parts = [missed.by_first, missed.by_second, missed.by_terms[:, :, chosen], missed.residuals[:, :, None]]
    rows = np.concatenate(parts, axis=2) * np.sqrt(weights)[:, None, None]
    begins = points.bounds[:-1][np.diff(points.bounds) > 0]
    if not len(begins):
        return
    ends = np.append(begins[1:], len(rows))
    width = rows.shape[2]
    grams = np.empty((len(begins), width, width))
    for number, (begin, end) in enumerate(zip(begins, ends, strict=True)):
        block = rows[begin:end].reshape(-1, width)
        grams[number] = block.T @ block
    first, second = points.first[begins], points.second[begins]
    lens = len(matrix) - len(HEAD_TERMS) - len(terms)
    one = np.arange(3)
    # The places of each link's unknowns: (links, 6 + terms).
    places = np.concatenate(
        [3 * first[:, None] + one, 3 * second[:, None] + one, np.tile(lens + np.arange(len(terms)), (len(begins), 1))],
        axis=1,
    )
    np.add.at(matrix, (places[:, :, None], places[:, None, :]), grams[:, :-1, :-1])
    np.add.at(gradient, places, grams[:, :-1, -1])


def _add_head(problem: Problem, state: SetState, matrix: Array, gradient: Array) -> None:
    off, by_terms, weights = off_head(problem, state)
    count, head = len(problem.frames), len(matrix) - len(HEAD_TERMS)
    pull = (weights @ off[:, :, None])[:, :, 0]
    cross = weights @ by_terms
    own = np.arange(count)
    blocks = matrix[: 3 * count, : 3 * count].reshape(count, 3, count, 3)
    blocks[own, :, own, :] += weights
    matrix[: 3 * count, head:] -= cross.reshape(3 * count, -1)
    matrix[head:, : 3 * count] -= cross.reshape(3 * count, -1).T
    gradient[: 3 * count] += pull.ravel()
    known = np.square(problem.priors.head)
    matrix[head:, head:] += np.einsum("nia,nib->ab", by_terms, cross) + np.diag(1 / known)
    gradient[head:] += state.head / known - np.einsum("nia,ni->a", by_terms, pull)
