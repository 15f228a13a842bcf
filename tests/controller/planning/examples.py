"""Fields and frames that several tests look at."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.spatial.transform import Rotation

from controller.optics.field import Field, make_field
from controller.optics.projection import Projection
from controller.planning.cores import Cores, cores_at
from controller.planning.coverage import Proof, prove_coverage
from controller.planning.order import snake
from controller.planning.plan import Frame
from controller.planning.rows import Row, fewest_rows
from tests.controller.planning import oracle
from tests.controller.planning.oracle import Array


def field_of(focal_mm: float, size_mm: tuple[float, float] = (24.0, 36.0), overlap: float = 0.3) -> Field:
    """A rectilinear field; 24 x 36 mm upright with 30 % overlap unless told otherwise."""
    return make_field(
        projection=Projection.RECTILINEAR,
        focal_length_mm=focal_mm,
        size_mm=size_mm,
        pixels=(round(size_mm[0] * 160), round(size_mm[1] * 160)),
        overlap=overlap,
    )


@dataclass(frozen=True)
class Example:
    """Frames by field, yaw and pitch, looked at by the program and by the independent oracle."""

    field: Field
    yaw_deg: Array
    pitch_deg: Array

    def cores(self) -> Cores:
        return cores_at(self.field, self.yaw_deg, self.pitch_deg)

    def proof(self) -> Proof:
        return prove_coverage(self.cores())

    def planes(self) -> Array:
        poses = oracle.pose_rotations(self.yaw_deg, self.pitch_deg)
        return oracle.edge_planes(poses, self.field.core_half_width_rad, self.field.core_half_height_rad)

    def without(self, frame: int) -> Example:
        return Example(self.field, np.delete(self.yaw_deg, frame), np.delete(self.pitch_deg, frame))

    def turned(self, errors: Rotation) -> tuple[Cores, Array]:
        """Cores and planes after each frame was turned by its own error, roll included."""
        cores = self.cores()
        matrices = errors.as_matrix()
        normals = np.einsum("nij,nej->nei", matrices, cores.normals)
        forward = np.einsum("nij,nj->ni", matrices, cores.forward)
        planes = np.einsum("nij,nej->nei", matrices, self.planes())
        return Cores(forward, normals, cores.radius_rad), planes


@cache
def rows_of(focal_mm: float, overlap: float = 0.3) -> tuple[Row, ...]:
    return tuple(fewest_rows(field_of(focal_mm, overlap=overlap)))


@cache
def frames_of(focal_mm: float) -> tuple[Frame, ...]:
    return snake(list(rows_of(focal_mm)))


@cache
def planned(focal_mm: float) -> Example:
    """The program's own frames for a focal length on 24 x 36 mm upright at 30 %."""
    frames = frames_of(focal_mm)
    yaw_deg, pitch_deg = np.array([f.yaw_deg for f in frames]), np.array([f.pitch_deg for f in frames])
    return Example(field_of(focal_mm), yaw_deg, pitch_deg)


def cube(half_side_mm: float, focal_mm: float) -> Example:
    """Six square frames on the faces of a cube: four round the horizon, zenith, nadir."""
    field = field_of(focal_mm, (2 * half_side_mm, 2 * half_side_mm), overlap=0.0)
    return Example(field, np.array([0.0, 90, 180, 270, 0, 0]), np.array([0.0, 0, 0, 0, 90, -90]))
