"""Cores by their definition, in the picture's plane; nothing here uses outlines, caps or arcs.

A direction is turned into the camera's axes by scipy's rotations, imaged by the projection (Kannala and Brandt, IEEE
TPAMI 28(8):1335, 2006, equations 1-5) and compared with the core's four edges and the image circle.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.spatial.transform import Rotation

from controller.optics.field import Field
from controller.optics.projection import Projection
from tests.controller.planning.oracle import Array, pose_rotations

LAW: dict[Projection, tuple[Callable[[Array], Array], float]] = {
    Projection.RECTILINEAR: (np.tan, np.pi / 2),
    Projection.EQUIDISTANT: (lambda theta: theta, np.pi),
    Projection.EQUISOLID: (lambda theta: 2 * np.sin(theta / 2), np.pi),
    Projection.STEREOGRAPHIC: (lambda theta: 2 * np.tan(theta / 2), np.pi),
    Projection.ORTHOGRAPHIC: (np.sin, np.pi / 2),
}


def holding(field: Field, yaw_deg: Array, pitch_deg: Array, directions: Array, tolerance: float) -> Array:
    """How many cores contain each of the (k, 3) `directions`, with cores shrunk by `tolerance` focal lengths."""
    return holding_at(field, pose_rotations(yaw_deg, pitch_deg), directions, tolerance)


def holding_at(field: Field, poses: Rotation, directions: Array, tolerance: float) -> Array:
    """The same for cameras turned by `poses`, roll included; at first they look along x with y to the right and z up."""
    law, farthest = LAW[field.projection]
    limit = farthest if field.circle_rad is None else min(farthest, field.circle_rad)
    core = field.core
    right, left, top, bottom = (float(law(np.array(a))) for a in (core.right, core.left, core.top, core.bottom))
    count = np.zeros(len(directions))
    for pose in poses:
        forward, across, up = pose.inv().apply(directions).T
        theta = np.arccos(np.clip(forward, -1, 1))
        inside = theta < limit - tolerance
        radius = law(np.where(inside, theta, 0.0)) / np.maximum(np.hypot(across, up), 1e-12)
        x, y = radius * across, radius * up
        inside &= (x <= right - tolerance) & (x >= tolerance - left) & (y <= top - tolerance) & (y >= tolerance - bottom)
        count += inside
    return count
