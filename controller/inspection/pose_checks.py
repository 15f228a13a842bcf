"""How well the poses of an adjusted set are known, and how far each frame is from where the head says."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri, stdtrit

from controller.inspection.adjustment import Adjusted
from controller.inspection.lens_model import Array
from controller.inspection.links import points_of
from controller.inspection.poses import (
    HEAD_TERMS,
    HeadFrame,
    angle_axes,
    angles_of,
    head_covariances,
    predicted,
    turn_of,
)
from controller.inspection.problem import Problem, SetState, off_head

# The standard deviation of an angle that may be anything, a rectangle of a whole turn (JCGM 100:2008, 4.3.7). It is the
# most that is stated: at a pole yaw and roll cannot be told apart.
ANYTHING_DEG = 360 / np.sqrt(12)
LEAST_COSINE = 1e-9
FEWEST_TO_JUDGE = 6  # frames: fewer show too little of a head's scatter
LEAST_FACTOR, MOST_FACTOR, LEAST_SD_DEG = 0.02, 10.0, 0.001
MEDIAN_OF_NORMAL = 0.6745  # of absolute values
MOVED = 4.0  # standard deviations beyond which a frame was moved
PROBABLE = 0.975  # one side of a 95 % interval


@dataclass(frozen=True, slots=True, eq=False)
class OffPose:
    """How far frames are from the pose that the measured head gives them.

    `distance` (n,) in standard deviations: of a frame's pose as all other measurements put it, from the head's, by the
    uncertainty of both (Mahalanobis; its square has three degrees of freedom). `turn_deg` (n,) is the turn between them.
    Both are 0 for frames without a good point.
    """

    distance: Array
    turn_deg: Array


def poses_known(adjusted: Adjusted) -> Array:
    """Standard uncertainties of yaw, pitch and roll in the levelled world, (n, 3) in degrees.

    Most of them is common to all frames: no match tells how the camera sits on the head (`poses_within` leaves that out).
    At a pole yaw and roll get 104 degrees, which means unknown.
    """
    return _of_angles(adjusted.rotations, adjusted.turns_covariance())


def poses_within(adjusted: Adjusted) -> Array:
    """Standard uncertainties of yaw, pitch and roll against the set as a whole, (n, 3) in degrees.

    These decide how well the photographs fit together. A turn of the whole set, by the mean of its linked frames, is left
    out.
    """
    count = len(adjusted.rotations)
    linked = np.flatnonzero(~adjusted.alone)
    if not len(linked):
        return poses_known(adjusted)
    turns = adjusted.covariance[: 3 * count, : 3 * count].reshape(count, 3, count, 3)
    to_world = adjusted.rotations
    # Of each frame with the mean turn of all linked ones, and of that mean with itself, in the world's axes.
    with_mean = np.einsum("iab,ibjd,jcd->iac", to_world, turns[:, :, linked], to_world[linked]) / len(linked)
    mean = with_mean[linked].mean(axis=0)
    common = to_world.transpose(0, 2, 1) @ with_mean @ to_world
    own_mean = to_world.transpose(0, 2, 1) @ mean @ to_world
    within = adjusted.turns_covariance() - common - common.transpose(0, 2, 1) + own_mean
    within[adjusted.alone] = adjusted.turns_covariance()[adjusted.alone]
    return _of_angles(adjusted.rotations, within)


def commanded_known(frames: Sequence[HeadFrame]) -> Array:
    """Standard uncertainties of yaw, pitch and roll as commanded, (n, 3) in degrees: the head's repeatability."""
    return np.array([(frame.yaw_sd_deg, frame.pitch_sd_deg, frame.roll_sd_deg) for frame in frames])


def off_pose(frames: Sequence[HeadFrame], adjusted: Adjusted) -> OffPose:
    """Compare each frame with the head. In sets of three or four frames the points cannot always say which one is off."""
    head = head_covariances(frames)
    weights = np.asarray(np.linalg.inv(head), dtype=np.float64)
    problem = Problem(frames, points_of([]), adjusted.lens, adjusted.axis, weights, adjusted.priors)
    off, by_terms, used = off_head(problem, SetState(adjusted.rotations, adjusted.lens, adjusted.head))
    known = np.linalg.pinv(_off_covariance(adjusted, by_terms), hermitian=True)
    # What everything but the frame's own pose says of its turn from there (n, 3, 3), never negative.
    values, vectors = np.linalg.eigh(known - used)
    others = (vectors * np.maximum(values, 0)[:, None, :]) @ vectors.transpose(0, 2, 1)
    pull = (known @ off[:, :, None])[:, :, 0]
    spread = np.linalg.pinv(others @ head @ others + others, hermitian=True)
    distance = np.sqrt(np.maximum(np.einsum("ni,nij,nj->n", pull, spread, pull), 0))
    turn = np.degrees(np.linalg.norm(off, axis=1))
    return OffPose(np.where(adjusted.alone, 0.0, distance), np.where(adjusted.alone, 0.0, turn))


def as_sure_as_seen(frames: Sequence[HeadFrame], adjusted: Adjusted) -> list[HeadFrame]:
    """The frames with the standard uncertainties of yaw and pitch that the set itself shows.

    A kit states what a head may do at worst. The scatter of many frames about the measured head shows what this one did:
    the variance is estimated from the residuals (K. Koch, Parameter Estimation and Hypothesis Testing in Linear Models,
    2nd ed. 1999, section 3.6), without those of frames that were moved. Few residuals leave it in doubt, so it gets the
    room that makes 95 % intervals hold (Student's t, JCGM 100:2008, G.3.2).
    """
    linked = np.flatnonzero(~adjusted.alone)
    if len(linked) < FEWEST_TO_JUDGE:
        return list(frames)
    expected, _ = predicted(frames, adjusted.axis, adjusted.head)
    off = turn_of(expected.transpose(0, 2, 1) @ adjusted.rotations)[linked]
    stated = np.array([np.degrees(np.sqrt(np.trace(each) / 3)) for each in head_covariances(frames)[linked]])
    seen = np.degrees(np.abs(off)) / stated[:, None]
    sound = seen[(seen < MOVED * np.median(seen) / MEDIAN_OF_NORMAL).all(axis=1)]
    freedom = max(sound.size - len(HEAD_TERMS), 1)
    room = float(stdtrit(freedom, PROBABLE) / ndtri(PROBABLE))
    factor = float(np.clip(room * np.sqrt(np.sum(sound**2) / freedom), LEAST_FACTOR, MOST_FACTOR))
    return [_as_sure(frame, factor) for frame in frames]


def _as_sure(frame: HeadFrame, factor: float) -> HeadFrame:
    sds = {
        name: max(getattr(frame, name) * factor, LEAST_SD_DEG) for name in ("yaw_sd_deg", "pitch_sd_deg", "roll_sd_deg")
    }
    return replace(frame, **sds)


def _off_covariance(adjusted: Adjusted, by_terms: Array) -> Array:
    """The covariance (n, 3, 3) of each frame's turn from where the head's terms put it."""
    count, heads = len(adjusted.rotations), by_terms.shape[2]
    with_head = adjusted.covariance[: 3 * count, -heads:].reshape(count, 3, heads) @ by_terms.transpose(0, 2, 1)
    of_head = by_terms @ adjusted.head_covariance() @ by_terms.transpose(0, 2, 1)
    return np.asarray(adjusted.turns_covariance() - with_head - with_head.transpose(0, 2, 1) + of_head)


def _of_angles(rotations: Array, covariance: Array) -> Array:
    """Standard uncertainties of the three angles (n, 3), in degrees, from covariances of turns in the camera's axes."""
    pitch, roll = np.radians(angles_of(rotations)[:, 1:]).T
    level = np.max([np.cos(pitch), np.full(len(pitch), LEAST_COSINE)], axis=0)
    axes = angle_axes(rotations)
    across, down = axes[:, :, 1], np.stack([np.sin(roll), np.cos(roll), np.zeros(len(roll))], axis=1)
    by_yaw = down / level[:, None]  # yaw's axis has this much of the picture's way down, and the rest along the lens
    by_roll = np.array([0.0, 0.0, 1.0]) - by_yaw * axes[:, 2, 0][:, None]
    by_turn = np.stack([by_yaw, across, by_roll], axis=1)
    variance = np.einsum("nij,njk,nik->ni", by_turn, covariance, by_turn)
    return np.asarray(np.minimum(np.degrees(np.sqrt(np.maximum(variance, 0))), ANYTHING_DEG))
