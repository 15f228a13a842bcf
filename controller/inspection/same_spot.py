"""Where a photograph of today was shot, against an earlier adjusted set of the same place.

Points that today's photograph shares with frames of the earlier set give its rotation in the world of that set. Far
points agree on one turn. Points off that turn, all along one direction, show that the camera itself was elsewhere; near
ones move by more, so that photographs say the direction, and the way as a share of each thing's distance (R. Hartley
and A. Zisserman, Multiple View Geometry, 2nd ed. 2004, sections 9.3 and 9.5). Only a known distance makes it millimetres.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.spatial.transform import Rotation

from controller.inspection.adjustment import FEWEST_GOOD, GATE, Adjusted
from controller.inspection.fitting import LEAST_NOISE, Loss, noise_of
from controller.inspection.head_measured import Measured
from controller.inspection.lens_model import Array, BrownLens, project, see
from controller.inspection.links import Flags, Link, Misses, Points, misses, points_of
from controller.inspection.normal import solved
from controller.inspection.poses import HeadFrame, head_covariances, middle_of, predicted, turned
from controller.inspection.shifted import Shifted, Unshifted, shift_of

FEWEST, LEAST_AGREEING = 12, 0.25  # points on one turn. Fewer agree by chance, or while something moves
TRIALS, NEAR_RAD = 300, 0.004  # of random sampling; how near points must come to the turn of a trial
ROUNDS, STILL_RAD = 30, 1e-8
U_FOCAL_SHARE = 0.003  # by which focusing anew changes the focal length. Common practice, no source


class NotPlaced(StrEnum):
    """Why today's photograph could not be placed."""

    FEW = "it shares too few matching points with the earlier set"
    DISAGREE = "its points do not agree on one direction of the camera: another place, or nothing far away in common"


@dataclass(frozen=True, slots=True, eq=False)
class SpotFound:
    """Today's photograph in the world of the earlier set.

    `rotation` (3, 3) as in `poses`. `covariance` (3, 3) of its turn in its own axes, in square radians, against that
    set. `by_frames` (3, 3 n): how it turns with each of the earlier frames. `focal_px` is today's. `good` (points,), link
    after link; `noise` in units of the stated uncertainties. `shift`: whether the camera itself was elsewhere.
    """

    rotation: Array
    covariance: Array
    by_frames: Array
    focal_px: Measured
    good: Flags
    noise: float
    shift: Shifted | Unshifted


@dataclass(frozen=True, slots=True, eq=False)
class ZeroDifference:
    """By how much the head's zero differs from then, in degrees.

    `yaw`: today's yaw 0 is this far to the right of the earlier one; to look where the earlier set looked, command that
    much less. `lean_to_0` and `lean_to_90`: the pan axis leans toward yaw 0 and yaw 90 of the earlier set by this much
    more. `turn` (3, 3) is all of that as a rotation in the world of the earlier set.
    """

    yaw: Measured
    lean_to_0: Measured
    lean_to_90: Measured
    turn: Array


def place(adjusted: Adjusted, links: Sequence[Link], lens: BrownLens | None = None) -> SpotFound | NotPlaced:
    """Place today's photograph. `first` of each link is an earlier frame by number; `second` is not read.

    `lens` is today's, if it is not the earlier one as adjusted; its focal length is measured as well.
    """
    today = lens or adjusted.lens
    count = len(adjusted.rotations)
    points = points_of([Link(link.first, count, link.first_px, link.second_px, link.sigma_px) for link in links])
    start = _start(points, adjusted, today)
    if isinstance(start, NotPlaced):
        return start
    rotation, today, loss = _fitted(points, adjusted, start, today, None)
    length = _length(_missed(points, adjusted, rotation, today))
    noise = max(loss.noise, LEAST_NOISE)
    good = length < GATE * noise
    if good.sum() < FEWEST or good.sum() < LEAST_AGREEING * len(good):
        return NotPlaced.DISAGREE
    rotation, today, _ = _fitted(points.only(good), adjusted, rotation, today, Loss(noise, robust=False))
    missed = _missed(points, adjusted, rotation, today)
    normal, _ = _normal(missed, (lens or adjusted.lens).focal_px, today.focal_px, good / noise**2)
    covariance = solved(normal, np.eye(4))
    by_frames = np.zeros((4, 3 * count))
    for frame in np.unique(points.first[good]):
        rows = good & (points.first == frame)
        by_frames[:, 3 * frame : 3 * frame + 3] = np.einsum("nia,nib->ab", _unknowns(missed)[rows], missed.by_first[rows])
    by_frames = -covariance @ by_frames / noise**2
    return SpotFound(
        rotation=rotation,
        covariance=covariance[:3, :3],
        by_frames=by_frames[:3],
        focal_px=Measured(today.focal_px, float(np.sqrt(covariance[3, 3]))),
        good=good,
        noise=noise,
        shift=_shift(points, adjusted, rotation, today, missed, good, noise),
    )


def zero_difference(
    frames: Sequence[HeadFrame], adjusted: Adjusted, today: HeadFrame, placed: SpotFound
) -> ZeroDifference:
    """Compare today's photograph with where the earlier head would have pointed it.

    `frames` are those of the earlier set, `today` the pose at which today's was shot. The camera must be mounted on the
    head as it was then: one photograph cannot tell a turned camera from a turned head.
    """
    expected, by_terms = predicted([today], adjusted.axis, adjusted.head, middle_of(frames))
    apart = placed.rotation @ expected[0].T
    # The head's terms and the earlier frames are uncertain together: what is common to them cancels.
    to_world = np.concatenate([placed.rotation @ placed.by_frames, np.zeros((3, len(adjusted.terms)))], axis=1)
    gain = np.concatenate([to_world, -expected[0] @ by_terms[0]], axis=1)
    own = placed.rotation @ placed.covariance @ placed.rotation.T
    head = expected[0] @ head_covariances([today])[0] @ expected[0].T
    sd = np.degrees(np.sqrt((own + head + gain @ adjusted.covariance @ gain.T).diagonal()))
    up = -apart[:, 1]
    upright = upright_turn(up) @ apart
    yaw = np.degrees(np.arctan2(upright[0, 2], upright[2, 2]))
    to_0, to_90 = np.degrees(np.arcsin(np.clip(up[[2, 0]], -1, 1)))
    each = (Measured(float(yaw), float(sd[1])), Measured(float(to_0), float(sd[0])), Measured(float(to_90), float(sd[2])))
    return ZeroDifference(*each, apart)


def upright_turn(up: Array) -> Array:
    """The smallest rotation (3, 3) that turns `up` into the vertical."""
    axis = np.cross(up, [0.0, -1.0, 0.0])
    size = float(np.linalg.norm(axis))
    angle = np.arctan2(size, -up[1])
    return np.asarray(turned((axis / size * angle if size > 0 else axis)[None])[0])


def _start(points: Points, adjusted: Adjusted, today: BrownLens) -> Array | NotPlaced:
    """The rotation that most points agree on, by random sampling of pairs of points."""
    rays, aims = see(adjusted.lens, points.first_px).rays, see(today, points.second_px).rays
    usable = np.isfinite(rays).all(axis=1) & np.isfinite(aims).all(axis=1)
    world = (adjusted.rotations[points.first[usable]] @ rays[usable][:, :, None])[:, :, 0]
    aims = aims[usable]
    if len(aims) < FEWEST:
        return NotPlaced.FEW
    random = np.random.default_rng(len(aims))
    pairs = random.integers(len(aims), size=(TRIALS, 2))
    best, found = 0, np.eye(3)
    for one, other in pairs:
        if one == other:
            continue
        rotation = _of_frames(world[[one, other]]) @ _of_frames(aims[[one, other]]).T
        near = int(np.count_nonzero(np.linalg.norm(aims @ rotation.T - world, axis=1) < NEAR_RAD))
        if near > best:
            best, found = near, rotation
    if best < FEWEST_GOOD:
        return NotPlaced.DISAGREE
    near = np.linalg.norm(aims @ found.T - world, axis=1) < NEAR_RAD
    return np.asarray(Rotation.align_vectors(world[near], aims[near])[0].as_matrix())


def _of_frames(pair: Array) -> Array:
    """Axes (3, 3) as columns that two directions span: their middle, across both, and the third."""
    middle, across = pair.sum(axis=0), np.cross(pair[0], pair[1])
    middle, across = (each / max(float(np.linalg.norm(each)), 1e-12) for each in (middle, across))
    return np.stack([middle, across, np.cross(middle, across)], axis=1)


def _missed(points: Points, adjusted: Adjusted, rotation: Array, today: BrownLens) -> Misses:
    return misses(points, adjusted.lens, np.concatenate([adjusted.rotations, rotation[None]]), today)


def _length(missed: Misses) -> Array:
    return np.where(missed.seen, np.hypot(missed.residuals[:, 0], missed.residuals[:, 1]), np.inf)


def _unknowns(missed: Misses) -> Array:
    """Derivatives (n, 2, 4) by today's turn and focal length."""
    return np.concatenate([missed.by_second, missed.by_terms[:, :, :1]], axis=2)


def _normal(missed: Misses, assumed_px: float, focal_px: float, weights: Array) -> tuple[Array, Array]:
    rows = _unknowns(missed)
    weighted = rows * weights[:, None, None]
    normal = np.einsum("nia,nib->ab", weighted, rows)
    gradient = np.einsum("nia,ni->a", weighted, missed.residuals)
    known = 1 / (U_FOCAL_SHARE * assumed_px) ** 2
    normal[3, 3] += known
    gradient[3] += known * (focal_px - assumed_px)
    normal[:3, :3] += 1e-9 * np.eye(3)
    return normal, gradient


def _fitted(
    points: Points, adjusted: Adjusted, rotation: Array, today: BrownLens, loss: Loss | None
) -> tuple[Array, BrownLens, Loss]:
    """Rotation and lens that fit the points, by this loss or by a robust one that follows the data."""
    assumed_px, follows = today.focal_px, loss is None
    used = loss or Loss(1.0, robust=True)
    for _ in range(ROUNDS):
        missed = _missed(points, adjusted, rotation, today)
        length = _length(missed)
        if follows:
            used = Loss(noise_of(length), robust=True)
        weights = np.where(missed.seen, used.weights(length), 0.0)
        step = -solved(*_normal(missed, assumed_px, today.focal_px, weights))
        rotation = rotation @ turned(step[None, :3])[0]
        today = today.moved(("focal_px",), np.clip(step[3:], -0.05 * assumed_px, 0.05 * assumed_px))
        if np.abs(step[:3]).max() < STILL_RAD:
            break
    return rotation, today, used


def _shift(
    points: Points, adjusted: Adjusted, rotation: Array, today: BrownLens, missed: Misses, good: Flags, noise: float
) -> Shifted | Unshifted:
    """Whether points off the common turn are off along one direction in the world."""
    near = missed.seen & ~good
    rays = (adjusted.rotations[points.first[near]] @ see(adjusted.lens, points.first_px[near]).rays[:, :, None])[:, :, 0]
    hit = project(today, rays @ rotation)
    by_way = missed.whiten[near] @ hit.by_ray @ rotation.T / noise
    return shift_of(by_way, missed.residuals[near] / noise, int(good.sum()))
