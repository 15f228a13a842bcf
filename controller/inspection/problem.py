"""What is adjusted, and what is known before: the values between which the parts of the adjustment pass."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from controller.inspection.lens_model import TERMS, Array, BrownLens
from controller.inspection.links import Points
from controller.inspection.poses import HEAD_PRIOR, HEAD_TERMS, HeadFrame, predicted, turn_of, turned

# Standard uncertainties of lens_model.TERMS before anything is seen; lengths as shares of the focal length. Generous, no
# source.
LENS_PRIOR = (0.05, 0.3, 0.02, 0.02, 0.3, 0.3)
FRAME_GATE = 4.0  # standard deviations from the head's pose beyond which a frame pulls less and less


@dataclass(frozen=True, slots=True, eq=False)
class Priors:
    """Standard uncertainties before the pictures are seen: of `lens_model.TERMS`, lengths as shares of the focal length,
    and of `poses.HEAD_TERMS`.
    """

    lens: tuple[float, ...] = LENS_PRIOR
    head: tuple[float, ...] = tuple(HEAD_PRIOR.tolist())

    def __post_init__(self) -> None:
        """Raises ValueError for a wrong number of terms, or one without an uncertainty."""
        for sizes, terms in ((self.lens, TERMS), (self.head, HEAD_TERMS)):
            if len(sizes) != len(terms) or not all(0 < size < np.inf for size in sizes):
                raise ValueError(f"a prior needs one positive standard uncertainty for each of {', '.join(terms)}")

    def of_terms(self, lens: BrownLens, terms: tuple[str, ...]) -> Array:
        """The standard uncertainties of these terms of a lens, in their own units."""
        sizes = dict(zip(TERMS, self.lens, strict=True))
        return np.array([sizes[term] * (lens.focal_px if term.endswith("_px") else 1.0) for term in terms])


NOTHING_KNOWN = Priors()


@dataclass(frozen=True, slots=True, eq=False)
class SetState:
    """What is being adjusted: the rotations (n, 3, 3), the lens and the HEAD_TERMS."""

    rotations: Array
    lens: BrownLens
    head: Array

    def moved(self, terms: tuple[str, ...], step: Array) -> "SetState":
        """The state after a step: small turns of the frames, then `terms` of the lens, then the HEAD_TERMS."""
        count = 3 * len(self.rotations)
        rotations = self.rotations @ turned(step[:count].reshape(-1, 3))
        lens = self.lens.moved(terms, step[count : count + len(terms)])
        return SetState(rotations, lens, self.head + step[count + len(terms) :])


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """A set to adjust: its frames, its points, the lens as assumed, the pan axis in the world, the weights of the head's
    poses (n, 3, 3), and what is known before.
    """

    frames: Sequence[HeadFrame]
    points: Points
    lens: BrownLens
    axis: Array
    weights: Array
    priors: Priors


def off_head(problem: Problem, state: SetState) -> tuple[Array, Array, Array]:
    """Each frame's turn from where the head's terms put it, its derivatives by the terms, and its weights (n, 3, 3).

    A frame far from its pose was moved, and must not drag the others along: beyond FRAME_GATE its pull falls with the
    third power of the distance, so that one frame that was moved costs less than several that give way to it.
    """
    expected, by_terms = predicted(problem.frames, problem.axis, state.head)
    off = turn_of(expected.transpose(0, 2, 1) @ state.rotations)
    share = (FRAME_GATE / np.maximum(_distance(problem, off), FRAME_GATE)) ** 4
    return off, by_terms, problem.weights * share[:, None, None]


def cost_of_priors(problem: Problem, state: SetState, terms: tuple[str, ...]) -> float:
    """What the head's poses and the priors add to the sum of squares that the adjustment makes least."""
    expected, _ = predicted(problem.frames, problem.axis, state.head)
    distance = _distance(problem, turn_of(expected.transpose(0, 2, 1) @ state.rotations))
    beyond = FRAME_GATE**2 * (1 - (FRAME_GATE / np.maximum(distance, FRAME_GATE)) ** 2)
    frames = np.minimum(distance, FRAME_GATE) ** 2 + beyond
    off = np.array([getattr(state.lens, term) - getattr(problem.lens, term) for term in terms])
    lens = off / problem.priors.of_terms(problem.lens, terms)
    return float(frames.sum() + np.sum(lens**2) + np.sum((state.head / problem.priors.head) ** 2))


def _distance(problem: Problem, off: Array) -> Array:
    return np.asarray(np.sqrt(np.einsum("ni,nij,nj->n", off, problem.weights, off)))
