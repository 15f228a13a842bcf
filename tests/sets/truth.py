"""What is true of a set and its photographs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from controller.inspection.lens_model import BrownLens
from controller.planning.plan import Plan
from sim.scene.lens import axes_of
from sim.scene.render import HeldPose
from sim.scene.spoilt import Spoilt
from tests.sets.spec import SetSpec

# The simulator's world is x toward yaw 0, y to the right, z up; the host's is right, down, forward of a camera at yaw 0.
HOST_FROM_SIM = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, -1.0], [1.0, 0.0, 0.0]])


@dataclass(frozen=True, slots=True, eq=False)
class TrueShot:
    """One exposure: its file (None if there is none), and where the camera really pointed in the middle of it.

    `rotation` (3, 3) turns the camera's axes (right, down, along the lens) into those of a level camera at yaw 0, as in
    `controller.inspection.poses`; its transpose turns the world into the camera.
    """

    frame: int
    exposure: int
    file: Path | None
    pose: HeldPose
    shutter_s: float

    @property
    def rotation(self) -> NDArray[np.float64]:
        axes = axes_of(self.pose.yaw_deg, self.pose.pitch_deg, self.pose.roll_deg)
        return HOST_FROM_SIM @ np.stack([axes[:, 1], -axes[:, 2], axes[:, 0]], axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class MadeSet:
    """A set on the disk, and the truth about it. `lens` is in pixels of the pictures; `spoilt` by frame."""

    spec: SetSpec
    seed: int
    session: Path
    folder: Path
    plan: Plan
    lens: BrownLens
    shots: Sequence[TrueShot]
    spoilt: Mapping[int, Spoilt]


def true_lens(spec: SetSpec) -> BrownLens:
    """The lens that takes the pictures; whole numbers are the centres of pixels."""
    field = spec.kit(true=True).field(0.0)
    right_mm, up_mm = spec.hidden.centre_mm
    across = field.pixels_across / field.width_mm
    bend = spec.hidden.distortion
    return BrownLens(
        field.projection,
        field.focal_length_mm * across,
        (field.pixels_across - 1) / 2 - right_mm * across,
        (field.pixels_up - 1) / 2 + up_mm * field.pixels_up / field.height_mm,
        *((0.0, 0.0, 0.0) if bend is None else (bend.k1, bend.k2, bend.k3)),
    )
