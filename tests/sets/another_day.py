"""A photograph of the place of a set on another day: the tripod was put up again, so the head's zero differs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from controller.commands.pictures import BEGIN
from controller.commands.stand_in import camera_name, lens_spec
from sim.lean import leaned, leaned_roll
from sim.scene.lens import Floats, axes_of, rays
from sim.scene.photograph import ExposureMoment, save_photograph
from sim.scene.render import HeldPose
from sim.scene.sensor import SensorSpec, develop
from sim.scene.spoilt import NOT_TURNED, Turn, defocused, turned
from tests.sets.developing import renderer_of
from tests.sets.spec import SetSpec
from tests.sets.truth import HOST_FROM_SIM

SKY_FROM_DEG = 12.0  # above the hills


@dataclass(frozen=True, slots=True)
class TrueBase:
    """How the head stands that day: its yaw 0 looks toward `yaw_deg` of the earlier world, and the pan axis leans toward
    a yaw of the head's own. Both axes turn as on the first day.
    """

    yaw_deg: float = 0.0
    lean_deg: float = 0.0
    lean_toward_deg: float = 0.0

    def pose(self, spec: SetSpec, pan_deg: float, tilt_deg: float) -> HeldPose:
        """Where the camera really points with its axes commanded to these angles."""
        pan, tilt = pan_deg * (1 + spec.hidden.pan_scale), tilt_deg * (1 + spec.hidden.tilt_scale)
        lean = self.lean_deg, self.lean_toward_deg
        yaw, pitch = leaned(pan, tilt, *lean)
        own = HeldPose(yaw + self.yaw_deg, pitch, 1.0, leaned_roll(pan, tilt, *lean))
        return turned(own, spec.hidden.mount_deg)

    def rotation(self, spec: SetSpec, pan_deg: float, tilt_deg: float) -> NDArray[np.float64]:
        """The same as in `truth.TrueShot.rotation`."""
        pose = self.pose(spec, pan_deg, tilt_deg)
        axes = axes_of(pose.yaw_deg, pose.pitch_deg, pose.roll_deg)
        return HOST_FROM_SIM @ np.stack([axes[:, 1], -axes[:, 2], axes[:, 0]], axis=1)


@dataclass(frozen=True, slots=True)
class OtherDay:
    """How the day and the photograph differ.

    The photograph is `brighter_ev` brighter, soft by `soft_px`, and turned by `turned_deg` in the camera's axes. The
    camera is `moved_mm` (ahead, to the right) from where it was. `sky`: the seed of the place whose sky it is. `place`:
    the seed of the place, if it is another. `passers`: people and cars.
    """

    brighter_ev: float = 0.0
    soft_px: float = 0.0
    turned_deg: Turn = NOT_TURNED
    moved_mm: tuple[float, float] = (0.0, 0.0)
    sky: int | None = None
    place: int | None = None
    passers: tuple[int, int] = (0, 0)


SAME_DAY = OtherDay()


def photograph_of(
    spec: SetSpec, seed: int, file: Path, base: TrueBase, axes_deg: tuple[float, float] = (0.0, 0.0),
    day: OtherDay = SAME_DAY,
) -> Path:  # fmt: skip
    """Write the photograph that a camera takes with its axes at these angles (pan, tilt); returns `file`."""
    kit = spec.kit()
    there = replace(spec, passers=day.passers, hidden=replace(spec.hidden, pupil_mm=day.moved_mm))
    pose = turned(base.pose(spec, *axes_deg), day.turned_deg)
    own = seed if day.place is None else day.place
    light = renderer_of(there, own).light(pose, at_s=37.0)
    if day.sky is not None:
        other, sky = renderer_of(there, day.sky), _sky(spec, pose)
        light = np.where(sky[..., None], other.light(pose, at_s=37.0), light)
    picture = develop(defocused(light, day.soft_px), 2**day.brighter_ev, SensorSpec(), (seed, 4711))
    moment = ExposureMoment(BEGIN + timedelta(days=20), kit.exposure.shutter_seconds, day.brighter_ev)
    save_photograph(file, picture, camera_name(kit), moment, portrait=kit.camera.mounted == "portrait")
    return file


def _sky(spec: SetSpec, pose: HeldPose) -> NDArray[np.bool_]:
    """Which pixels (rows, columns) show the sky."""
    field = spec.kit(true=True).field(0.0)
    grid: Floats = rays(lens_spec(spec.kit(true=True)), field.pixels_across, field.pixels_up)
    world = axes_of(pose.yaw_deg, pose.pitch_deg, pose.roll_deg) @ grid.reshape(3, -1)
    with np.errstate(invalid="ignore"):
        up = np.degrees(np.arcsin(np.clip(world[2], -1, 1))) > SKY_FROM_DEG
    return np.asarray(up.reshape(field.pixels_up, field.pixels_across))
