"""Outlines of pictures and cores as lines of directions, to draw them."""

import numpy as np

from controller.optics.field import Field, Sides
from controller.optics.projection import LAWS
from controller.planning.directions import Array, camera_axes
from controller.planning.reached_poses import Poses

POINTS = 96


def outline_directions(field: Field, sides: Sides, points: int = POINTS) -> Array:
    """The outline of a picture or core in the camera's axes (forward, right, up), shape (n, 3), closed.

    It has `points` places evenly around, and the four corners.
    """
    law = LAWS[field.projection]
    right, left, top, bottom = (law.radius(side) for side in (sides.right, sides.left, sides.top, sides.bottom))
    corners = [np.arctan2(y, x) for x in (right, -left) for y in (top, -bottom)]
    turn = np.sort(np.concatenate([np.linspace(-np.pi, np.pi, points), corners]))
    with np.errstate(divide="ignore"):
        across = np.where(np.cos(turn) > 0, right, left) / np.abs(np.cos(turn))
        along = np.where(np.sin(turn) > 0, top, bottom) / np.abs(np.sin(turn))
    limit = law.largest_radius if field.circle_rad is None else law.radius(field.circle_rad)
    theta = np.array([law.angle(float(r)) for r in np.minimum(np.minimum(across, along), limit)])
    return np.stack([np.cos(theta), np.sin(theta) * np.cos(turn), np.sin(theta) * np.sin(turn)], axis=-1)


def outlines_at(field: Field, sides: Sides, poses: Poses, points: int = POINTS) -> list[Array]:
    """The outlines of the frames at these poses in the levelled world (ahead, right, up), shape (n, 3) each."""
    roll_rad = None if poses.roll_deg is None else np.radians(poses.roll_deg)
    axes = camera_axes(np.radians(poses.yaw_deg), np.radians(poses.pitch_deg), roll_rad)
    in_camera = outline_directions(field, sides, points)
    return list(np.einsum("kj,jnc->nkc", in_camera, np.stack(axes)))


def unrolled_deg(directions: Array) -> Array:
    """Yaw (-180 to 180) and pitch of (n, 3) directions in degrees, shape (n, 2)."""
    yaw = np.degrees(np.arctan2(directions[:, 1], directions[:, 0]))
    pitch = np.degrees(np.arcsin(np.clip(directions[:, 2], -1, 1)))
    return np.stack([yaw, pitch], axis=1)
