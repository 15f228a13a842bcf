"""Photographs of the invented place as from a camera, with a near board, and the pupil at a chosen place."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path

import numpy as np
from scipy import ndimage

from controller.commands.stand_in import camera_name, lens_spec
from controller.kit.kit import Kit
from sim.scene.photograph import ExposureMoment, save_photograph
from sim.scene.place import make_place
from sim.scene.render import HeldPose, Renderer
from sim.scene.scenery import Layer, Scenery, layer_of, points_across
from sim.scene.sensor import SensorSpec, develop

BEGIN = datetime(2026, 6, 21, 9, 0, tzinfo=UTC)
BOARD_DEG = 6.4  # width and height of the board, seen from the axis


@lru_cache(maxsize=4)
def far_place(seed: int, points: int) -> Scenery:
    """The place without the stones and posts."""
    whole = make_place(seed, points)
    return Scenery(whole.layers[:1], whole.brightest)


def board(points: int, distance_mm: float, seed: int) -> Layer:
    """A mottled board straight ahead, at yaw 0."""
    half = round(points * BOARD_DEG / 720)
    mottled = np.random.default_rng(seed).uniform(20, 200, (16, 16))
    texture = ndimage.zoom(mottled, 2 * half / 16, order=1)
    codes = np.zeros((points // 2, points, 4), dtype=np.uint8)
    middle = (slice(points // 4 - half, points // 4 + half), slice(points // 2 - half, points // 2 + half))
    codes[middle][..., :3] = texture[..., np.newaxis]
    codes[middle][..., 3] = 255
    return layer_of(codes, distance_mm)


@dataclass(frozen=True, slots=True)
class Stage:
    """A kit in front of the place; pictures are `width` pixels wide."""

    kit: Kit
    width: int
    seed: int = 1
    ahead_mm: float = 0.0
    board_mm: float | None = None
    says_kit: Kit | None = None  # the lens in the photographs' EXIF, if it is not the true one

    @property
    def size(self) -> tuple[int, int]:
        field = self.kit.field(0.0)
        return self.width, round(self.width * field.height_mm / field.width_mm)

    def take(
        self,
        folder: Path,
        poses_deg: Sequence[tuple[float, float]],
        every_s: float = 2.0,
        ending: str = "JPG",
    ) -> list[Path]:
        """Shoot photographs at these yaws and pitches into `folder`."""
        folder.mkdir(exist_ok=True)
        lens = lens_spec(self.kit, (self.ahead_mm, 0.0))
        points = points_across(lens.pixel_rad(self.width))
        place = far_place(self.seed, points)
        near = () if self.board_mm is None else (board(points, self.board_mm, self.seed),)
        renderer = Renderer(Scenery((*place.layers, *near), place.brightest), lens, *self.size)
        files = []
        for number, (yaw, pitch) in enumerate(poses_deg):
            picture = develop(renderer.light(HeldPose(yaw, pitch)), 1.0, SensorSpec(), (self.seed, number))
            files.append(folder / f"FULL{number:04}.{ending}")
            moment = ExposureMoment(BEGIN + timedelta(seconds=number * every_s), 0.0125, 0.0)
            said = self.kit if self.says_kit is None else self.says_kit
            save_photograph(files[-1], picture, camera_name(said), moment, portrait=said.camera.mounted == "portrait")
        return files

    def board_px(self, yaw_deg: float) -> tuple[int, int]:
        """Where a camera turned to `yaw_deg` shows the middle of the board: column and row."""
        assert self.board_mm is not None
        angle = math.radians(-yaw_deg)
        forward, right = self.board_mm * math.cos(angle) - self.ahead_mm, self.board_mm * math.sin(angle)
        focal_px = self.kit.lens.focal_length_mm * self.width / self.kit.field(0.0).width_mm
        return round((self.width - 1) / 2 + focal_px * right / forward), round((self.size[1] - 1) / 2)
