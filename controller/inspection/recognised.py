"""Where a photograph looks in the world of an earlier set, found from nothing: features in common with its frames.

The tripod was put up again, so the yaw may be any. Features survive other light, other clouds and leaves, since each
counts for itself; all frames must agree on one rotation (random sampling: M. Fischler and R. Bolles, Comm. ACM 24:381,
1981). Pictures are reduced first, which leaves what is large enough to be there weeks later.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from controller.calibration.registration import Features, features_of, matched
from controller.inspection.lens_model import Array, BrownLens, see
from controller.inspection.linking import Sized
from controller.inspection.overlap import FrameView

LONG_PX = 1200  # of a picture's long side, about
FEWEST = 10  # features that agree on one rotation. Wrong ones agree by chance in four or five
NEAR_RAD = 0.01  # from it: the lens is not yet known, and near things are off
TRIALS = 400  # for each frame
APART_RAD = 0.03  # two features nearer together than this say little of a rotation
REFINED = 3  # times
FEWEST_OF_FRAME = 4  # matches, or a frame makes no proposal


@dataclass(frozen=True, slots=True, eq=False)
class Recognised:
    """The rotation (3, 3) of the photograph in the world of the set, as in `poses`, to about half a degree, and the
    number of features that agree on it.
    """

    rotation: Array
    agreeing: int


def share_of(size_px: tuple[int, int]) -> float:
    """The share of its full size at which a picture is searched for features."""
    return min(1.0, LONG_PX / max(size_px))


def features_at(picture: Sized, view: FrameView) -> Features:
    """The features of a picture, at places of its full size. Raises InputError without OpenCV."""
    found = features_of(picture.grey)
    places = (found.places_px + 0.5) / picture.share - 0.5
    shown = view.shows(places)
    return Features(places[shown], found.descriptions[shown])


def recognise(
    photograph: tuple[Features, BrownLens], frames: dict[int, Features], rotations: Array, lens: BrownLens,
    advance: Callable[[], None],
) -> Recognised | None:  # fmt: skip
    """The rotation on which most features of all frames agree; None if too few do.

    `photograph` are its features and its lens; `frames` the features of the set's frames by number, `rotations` (n, 3, 3)
    and `lens` theirs. Raises InputError without OpenCV.
    """
    own, others = [], []
    for number, features in frames.items():
        here, there = matched(photograph[0], features)
        aims, rays = see(photograph[1], here).rays, see(lens, there).rays
        usable = np.isfinite(aims).all(axis=1) & np.isfinite(rays).all(axis=1)
        own.append(aims[usable])
        others.append(rays[usable] @ rotations[number].T)
        advance()
    aims, world = np.concatenate([np.zeros((0, 3)), *own]), np.concatenate([np.zeros((0, 3)), *others])
    best, agreeing = np.eye(3), 0
    for one, other in zip(own, others, strict=True):
        if len(one) < FEWEST_OF_FRAME:
            continue
        rotation = _most_agreed(one, other)
        count = int(_near(rotation, aims, world).sum())
        if count > agreeing:
            best, agreeing = rotation, count
    if agreeing < FEWEST:
        return None
    for _ in range(REFINED):
        near = _near(best, aims, world)
        best = np.asarray(Rotation.align_vectors(world[near], aims[near])[0].as_matrix())
    agreeing = int(_near(best, aims, world).sum())
    return Recognised(best, agreeing) if agreeing >= FEWEST else None


def _near(rotation: Array, aims: Array, world: Array) -> Array:
    return np.asarray(np.linalg.norm(aims @ rotation.T - world, axis=1) < NEAR_RAD)


def _most_agreed(aims: Array, world: Array) -> Array:
    """The rotation (3, 3) that most pairs of directions (n, 3) agree on, proposed by two of them at a time."""
    random = np.random.default_rng(len(aims))
    one, other = random.integers(len(aims), size=(2, TRIALS))
    apart = np.linalg.norm(aims[one] - aims[other], axis=1)
    there = np.linalg.norm(world[one] - world[other], axis=1)
    fit = (apart > APART_RAD) & (np.abs(apart - there) < 2 * NEAR_RAD)
    if not fit.any():
        return np.eye(3)
    one, other = one[fit], other[fit]
    rotations = _axes(world[one], world[other]) @ _axes(aims[one], aims[other]).transpose(0, 2, 1)
    off = np.linalg.norm(aims @ rotations.transpose(0, 2, 1) - world, axis=2)
    return np.asarray(rotations[np.argmax((off < NEAR_RAD).sum(axis=1))])


def _axes(one: Array, other: Array) -> Array:
    """The axes that pairs of directions span, as columns of (n, 3, 3): their middle, across both, and the third."""
    middle, across = one + other, np.cross(one, other)
    middle, across = (each / np.maximum(np.linalg.norm(each, axis=1, keepdims=True), 1e-12) for each in (middle, across))
    return np.stack([middle, across, np.cross(middle, across)], axis=2)
