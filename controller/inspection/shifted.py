"""A way of the camera between two photographs, from points that are off the turn which far points agree on.

If the camera moved by c, a thing at distance d is seen at X - c / d instead of X. Its distance is unknown, but it moves
along one line of the picture, and outward from the way's own direction: a few such points give the direction of c.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from controller.inspection.head_measured import Measured
from controller.inspection.lens_model import Array
from controller.inspection.links import Flags

FEWEST_NEAR, LEAST_NEAR = 8, 0.6  # points off the turn that move as a way of the camera makes them; wild ones do not
# Matches err up to five times as much as stated, so that some are off by a little more than the gate, in any direction.
CLEAR, FEWEST_CLEAR = 8.0, 5  # standard deviations, and points off by more: without them there is no way to tell
BAND = 3.0  # standard deviations from the line along which a point must move
TRIALS = 300
NEAREST_SHARE = 0.1  # of the near points: the nearest of them say how large the way is


class Unshifted(StrEnum):
    """Why no way of the camera is stated."""

    NOTHING_OFF = "nothing near has shifted against the far things, so it is where it was, or nothing near is in view"
    UNLIKE = "some things have shifted against the far ones, but not as they do if the camera has moved"


@dataclass(frozen=True, slots=True, eq=False)
class Shifted:
    """How the camera moved, in the world of the earlier photographs (right, down, ahead at yaw 0).

    `direction` (3,) has length 1; `direction_sd_deg` is its standard uncertainty as an angle. `share` is the way as a
    share of the distance to the nearest things that both photographs show. `near` points say so.
    """

    direction: Array
    direction_sd_deg: float
    share: Measured
    near: int

    def way_mm(self, nearest_mm: float) -> Array:
        """The way (3,) in mm, if the nearest things are this far away."""
        return np.asarray(self.direction * self.share.value * nearest_mm)


def shift_of(by_way: Array, off: Array, far: int) -> Shifted | Unshifted:
    """The way of the camera from points that are off the common turn.

    `off` (n, 2) is where the turn puts each point, less where it is, in standard deviations. `by_way` (n, 2, 3) is how
    that grows with the way over the thing's distance. `far` is the number of the other points.
    """
    clear = np.linalg.norm(off, axis=1) > CLEAR
    if len(off) < FEWEST_NEAR or clear.sum() < FEWEST_CLEAR:
        return Unshifted.NOTHING_OFF
    aside = np.stack([-off[:, 1], off[:, 0]], axis=1)
    lines = np.einsum("ni,nij->nj", aside, by_way)
    direction, near = _most_alike(lines, by_way, off)
    if near.sum() < max(FEWEST_NEAR, LEAST_NEAR * len(off)):
        # A few wild points among many sound ones are usual, and say nothing.
        return Unshifted.NOTHING_OFF if len(off) < 0.1 * far else Unshifted.UNLIKE
    for _ in range(5):
        moves = by_way[near] @ direction
        weighted = lines[near] / np.linalg.norm(moves, axis=1)[:, None]
        values, vectors = np.linalg.eigh(weighted.T @ weighted)
        direction = vectors[:, 0] * np.sign(vectors[:, 0] @ direction)
        near = moving_along(direction, by_way, off)
        if near.sum() < FEWEST_NEAR:
            return Unshifted.UNLIKE
    moves = by_way[near] @ direction
    size = np.einsum("ni,ni->n", moves, moves)
    shares = np.einsum("ni,ni->n", moves, off[near]) / size
    nearest = np.argsort(-shares)[: max(3, round(NEAREST_SHARE * len(shares)))]
    spread = float(np.std(shares[nearest], ddof=1)) / np.sqrt(len(nearest))
    return Shifted(
        direction=direction,
        direction_sd_deg=float(np.degrees(np.sqrt(np.sum(1 / np.maximum(values[1:], 1e-12))))),
        share=Measured(float(np.mean(shares[nearest])), float(np.hypot(spread, np.sqrt(np.mean(1 / size[nearest]))))),
        near=int(near.sum()),
    )


def _most_alike(lines: Array, by_way: Array, off: Array) -> tuple[Array, Flags]:
    """The direction (3,) that most points agree on, each pair of points proposing one."""
    random = np.random.default_rng(len(off))
    best, found = np.zeros(len(off), dtype=bool), np.array([0.0, 0.0, 1.0])
    for one, other in random.integers(len(off), size=(TRIALS, 2)):
        way = np.cross(lines[one], lines[other])
        length = float(np.linalg.norm(way))
        if length < 1e-9:
            continue
        for direction in (way / length, -way / length):
            near = moving_along(direction, by_way, off)
            if near.sum() > best.sum():
                best, found = near, direction
    return found, best


def moving_along(direction: Array, by_way: Array, off: Array) -> Flags:
    """The points that move along their line, and the way that a thing in front of the camera moves."""
    moves = by_way @ direction
    length = np.maximum(np.linalg.norm(moves, axis=1), 1e-12)
    across = (moves[:, 0] * off[:, 1] - moves[:, 1] * off[:, 0]) / length
    return np.asarray((np.abs(across) < BAND) & (np.einsum("ni,ni->n", moves, off) > 0))
