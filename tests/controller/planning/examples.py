"""Fields and frames for several tests."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.spatial.transform import Rotation

from controller.optics.field import Field, make_field
from controller.optics.outline import core_outline
from controller.optics.projection import Projection
from controller.planning.bands import band
from controller.planning.cores import Cores, cores_at
from controller.planning.coverage import Proof, prove_coverage
from controller.planning.motion import AxisMotion, HeadMotion
from controller.planning.order import Order, arrange
from controller.planning.plan import Frame
from controller.planning.region import SPHERE
from controller.planning.row_poses import poses_of_rows
from controller.planning.rows import Row, Task, fewest_rows
from tests.controller.planning import oracle
from tests.controller.planning.oracle import Array


def field_of(focal_mm: float, size_mm: tuple[float, float] = (24.0, 36.0), overlap: float = 0.3) -> Field:
    """A rectilinear field; by default 24 x 36 mm upright with 30 % overlap."""
    return make_field(
        projection=Projection.RECTILINEAR,
        focal_length_mm=focal_mm,
        size_mm=size_mm,
        pixels=(round(size_mm[0] * 160), round(size_mm[1] * 160)),
        overlap=overlap,
    )


@dataclass(frozen=True)
class Example:
    """Frames by field, yaw and pitch, for the program and for the independent oracle."""

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
        poles = np.einsum("nij,nekj->neki", matrices, cores.poles)
        forward = np.einsum("nij,nj->ni", matrices, cores.forward)
        planes = np.einsum("nij,nej->nei", matrices, self.planes())
        return Cores(forward, poles, cores.radii, cores.reach_rad, cores.shrinks), planes


@cache
def rows_of(focal_mm: float, overlap: float = 0.3) -> tuple[Row, ...]:
    return tuple(fewest_rows(Task(field_of(focal_mm, overlap=overlap), SPHERE)))


MOVER = HeadMotion(AxisMotion(30.0, 40.0), AxisMotion(20.0, 30.0))


def snake(rows: list[Row]) -> tuple[Frame, ...]:
    """Frames of complete rows, row by row."""
    poses = arrange(poses_of_rows(rows, Task(field_of(24.0), SPHERE)), Order.ROWS, MOVER)
    return tuple(
        Frame(id=i, row=pose.row, yaw_deg=pose.yaw_deg, pitch_deg=pose.pitch_deg) for i, pose in enumerate(poses)
    )


def row_bands(field: Field, count: float, pitch_rad: Array, margin_rad: float) -> tuple[Array, Array]:
    """The bands that rows of `count` frames cover at each pitch."""
    pitches = np.atleast_1d(pitch_rad)
    share = np.full(len(pitches), 2 * np.pi / count)
    return band(core_outline(field), share, pitches, np.arange(len(pitches)), margin_rad)


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
