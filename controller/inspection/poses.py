"""Rotations of cameras, and the head's own model of them.

A rotation turns the camera's axes (x right, y down, z along the lens) into the world's (the same axes of a level camera
at yaw 0): about y by the yaw, then x by the pitch, then z by the roll, all right-handed. Small turns are rotation
vectors in the camera's own axes, in radians.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from controller.calibration.wave import HEAD_ECCENTRICITY_DEG, prior_sd
from controller.inspection.lens_model import Array

# The terms of a head: shares by which both axes turn more than commanded, the camera on its mount, play, and what an
# eccentric gear adds once per turn as a sine and a cosine of the axis's angle. All but the shares are in radians.
HEAD_TERMS = (
    "pan_scale", "tilt_scale", "mount_x", "mount_y", "mount_z", "pan_play", "tilt_play",
    "pan_sine", "pan_cosine", "tilt_sine", "tilt_cosine",
)  # fmt: skip
OF_PAN, OF_MOUNT, OF_TILT = (0, 5, 7, 8), slice(2, 5), (1, 6, 9, 10)  # places of scale, play, sine and cosine
# Standard uncertainties before anything is seen: generous. Our own choice, no source. The gear's is `wave.prior_sd`.
GEAR_SD_DEG = prior_sd(HEAD_ECCENTRICITY_DEG)
HEAD_PRIOR = np.array([0.02, 0.02, *np.radians([1.0, 1.0, 1.0, 0.5, 0.5, *[GEAR_SD_DEG] * 4])])
LEAST_SD_DEG = 1e-4  # no head is surer than this: a standard uncertainty of 0 would be an infinite weight
LEAST_SHARE = 0.1  # of the least uncertainty of an angle: near a pole, yaw and roll leave one direction without any


@dataclass(frozen=True, slots=True)
class HeadFrame:
    """A frame as the head reports it, in degrees.

    The camera's pose with the standard uncertainties of the head's repeatability, the angles of the axes, and the
    direction of approach of each axis: 1 if it came from smaller angles, -1 from larger ones, 0 if unknown.
    """

    yaw_deg: float
    pitch_deg: float
    roll_deg: float
    yaw_sd_deg: float
    pitch_sd_deg: float
    roll_sd_deg: float
    pan_deg: float
    tilt_deg: float
    pan_from: int = 0
    tilt_from: int = 0


def turned(vectors: Array) -> Array:
    """The rotation matrices (n, 3, 3) of rotation vectors (n, 3)."""
    return np.asarray(Rotation.from_rotvec(vectors).as_matrix())


def turn_of(matrices: Array) -> Array:
    """The rotation vectors (n, 3) of matrices (n, 3, 3)."""
    return np.asarray(Rotation.from_matrix(matrices).as_rotvec())


def commanded(frames: Sequence[HeadFrame]) -> Array:
    """The rotations of the frames as commanded, (n, 3, 3)."""
    angles = [(frame.yaw_deg, frame.pitch_deg, frame.roll_deg) for frame in frames]
    return np.asarray(Rotation.from_euler("YXZ", angles, degrees=True).as_matrix())


def angles_of(rotations: Array) -> Array:
    """Yaw (-180 to 180), pitch and roll of rotations, (n, 3), in degrees. At a pole the roll is 0."""
    forward, level = rotations[:, :, 2], rotations[:, 1, :2]
    pole = np.hypot(forward[:, 0], forward[:, 2]) < 1e-9
    yaw = np.where(pole, np.arctan2(-rotations[:, 2, 0], rotations[:, 0, 0]), np.arctan2(forward[:, 0], forward[:, 2]))
    pitch = np.arctan2(-forward[:, 1], np.hypot(forward[:, 0], forward[:, 2]))
    roll = np.where(pole, 0.0, np.arctan2(level[:, 0], level[:, 1]))
    return np.asarray(np.degrees(np.stack([yaw, pitch, roll], axis=1)))


def angle_axes(rotations: Array) -> Array:
    """The axes of yaw, pitch and roll in the camera's own axes: the columns of (n, 3, 3)."""
    _, _, roll = np.radians(angles_of(rotations)).T
    axes = np.zeros_like(rotations)
    axes[:, :, 0] = rotations[:, 1, :]
    axes[:, 0, 1], axes[:, 1, 1] = np.cos(roll), -np.sin(roll)
    axes[:, 2, 2] = 1.0
    return axes


def head_covariances(frames: Sequence[HeadFrame]) -> Array:
    """The covariance of each frame's pose by the head, (n, 3, 3), in the camera's axes, in square radians."""
    sds = np.radians(
        np.maximum([(frame.yaw_sd_deg, frame.pitch_sd_deg, frame.roll_sd_deg) for frame in frames], LEAST_SD_DEG)
    )
    spread = angle_axes(commanded(frames)) * sds[:, None, :]
    values, vectors = np.linalg.eigh(spread @ spread.transpose(0, 2, 1))
    values = np.maximum(values, (LEAST_SHARE * sds.min(axis=1, keepdims=True)) ** 2)
    return np.asarray((vectors * values[:, None, :]) @ vectors.transpose(0, 2, 1))


def pan_axis(lean_deg: float, toward_deg: float) -> Array:
    """The direction in the world about which the pan turns right-handedly, for a head that leans."""
    lean, toward = np.radians([lean_deg, toward_deg])
    return np.array([-np.sin(lean) * np.sin(toward), np.cos(lean), -np.sin(lean) * np.cos(toward)])


def middle_of(frames: Sequence[HeadFrame]) -> tuple[float, float]:
    """The mean pan and tilt of a set, in degrees."""
    pan, tilt = np.mean([(frame.pan_deg, frame.tilt_deg) for frame in frames], axis=0)
    return float(pan), float(tilt)


def predicted(
    frames: Sequence[HeadFrame], axis: Array, terms: Array, middle_deg: tuple[float, float] | None = None
) -> tuple[Array, Array]:
    """The rotations (n, 3, 3) by a head with these HEAD_TERMS, and their turns by each term, (n, 3, 11).

    Scales count from the middle of the set: where the axes have their zero, the photographs cannot say. Give
    `middle_deg` for frames that are not the whole set.
    """
    middle = middle_deg or middle_of(frames)
    pan = _by_terms([(frame.pan_deg, frame.pan_from) for frame in frames], middle[0])
    tilt = _by_terms([(frame.tilt_deg, frame.tilt_from) for frame in frames], middle[1])
    start = commanded(frames)
    about_pan = (pan @ terms[list(OF_PAN)])[:, None] * (start.transpose(0, 2, 1) @ axis)
    about_tilt = (tilt @ terms[list(OF_TILT)])[:, None] * np.array([1.0, 0.0, 0.0])
    mount = turned(terms[None, OF_MOUNT])[0]
    rotations = start @ turned(about_pan) @ turned(about_tilt) @ mount
    by_terms = np.zeros((len(frames), 3, len(HEAD_TERMS)))
    by_terms[:, :, list(OF_PAN)] = (rotations.transpose(0, 2, 1) @ axis)[:, :, None] * pan[:, None, :]
    by_terms[:, :, list(OF_TILT)] = mount[0][None, :, None] * tilt[:, None, :]
    by_terms[:, :, OF_MOUNT] = np.eye(3)
    return rotations, by_terms


def _by_terms(angles: Sequence[tuple[float, int]], middle_deg: float) -> Array:
    """How an axis turns by its scale, play, sine and cosine, (n, 4), from angles and directions of approach."""
    angle_deg, side = np.array(angles, dtype=np.float64).T
    turn = np.radians(angle_deg)
    return np.stack([np.radians(angle_deg - middle_deg), -side / 2, np.sin(turn), np.cos(turn)], axis=1)
