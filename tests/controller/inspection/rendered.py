"""Neighbouring frames as the simulator draws them, with the lens and poses they were drawn with."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from controller.calibration.turning import PictureGeometry
from controller.inspection.overlap import FrameView, axes_of, find_overlap, warp
from controller.inspection.points import NOTHING_COMMON, LinkFinding, find_points
from controller.optics.projection import LAWS, Projection
from sim.scene.lens import LensSpec
from sim.scene.place import make_place
from sim.scene.render import HeldPose, Renderer
from sim.scene.scenery import Scenery, scenery_of
from sim.scene.sensor import SensorSpec, develop

Picture = NDArray[np.uint8]
Aim = tuple[float, float, float]
WIDTH_MM, HEIGHT_MM = 24.0, 36.0


@lru_cache(maxsize=1)
def place() -> Scenery:
    """The simulator's invented place, everything far away."""
    return make_place(7, 2048).flattened()


@dataclass(frozen=True)
class Rig:
    """A camera in portrait, `across` pixels wide."""

    projection: Projection = Projection.RECTILINEAR
    focal_mm: float = 24.0
    across: int = 480
    widest_rad: float = math.radians(85)

    @property
    def size_px(self) -> tuple[int, int]:
        return self.across, round(self.across * HEIGHT_MM / WIDTH_MM)

    @property
    def geometry(self) -> PictureGeometry:
        columns, rows = self.size_px
        return PictureGeometry(self.focal_mm / WIDTH_MM * columns, ((columns - 1) / 2, (rows - 1) / 2), self.projection)

    def renderer(self, scenery: Scenery) -> Renderer:
        angle = np.linspace(0, self.widest_rad, 4000)
        radius = np.array([self.focal_mm * LAWS[self.projection].radius(float(a)) for a in angle])
        return Renderer(scenery, LensSpec(WIDTH_MM, HEIGHT_MM, radius, angle), *self.size_px)

    def view(self, aim: Aim, u_aim_deg: float = 0.05) -> FrameView:
        circle = self.geometry.focal_px * LAWS[self.projection].radius(self.widest_rad) - 2
        return FrameView(axes_of(*aim), self.geometry, self.size_px, math.radians(u_aim_deg), circle)


@lru_cache(maxsize=24)
def photograph(rig: Rig, aim: Aim, ev: float = 0.0, scenery: Scenery | None = None, seed: int = 0) -> Picture:
    """One frame in grey; do not change it, as it is kept."""
    light = rig.renderer(scenery or place()).light(HeldPose(aim[0], aim[1], roll_deg=aim[2]))
    colours = develop(light, 2.0**ev, SensorSpec(), (seed, 5))
    return np.asarray(np.rint(colours @ np.array([0.299, 0.587, 0.114])), dtype=np.uint8)


def found(
    rig: Rig, aims: tuple[Aim, Aim], pictures: tuple[Picture, Picture], share: float = 1.0, **view: Any
) -> LinkFinding:
    """What the link says if the poses are believed to be `aims`."""
    views = tuple(rig.view(aim, **view) for aim in aims)
    overlap = find_overlap(views[0], views[1], share)
    if overlap is None:
        return NOTHING_COMMON
    one, other = (warp(picture, 1.0, view, overlap) for picture, view in zip(pictures, views, strict=True))
    return find_points(views[0], views[1], overlap, (one, other))


def errors_px(rig: Rig, aims: tuple[Aim, Aim], finding: LinkFinding) -> NDArray[np.float64]:
    """By how much second places are off, (n, 2) in pixels, given that the frames were shot at `aims`."""
    first, second = (rig.view(aim) for aim in aims)
    due = second.lens.pixels(first.directions(finding.matches.first_px) @ second.axes.T)
    return finding.matches.second_px - due


@lru_cache(maxsize=1)
def grain() -> NDArray[np.float64]:
    """Even random texture of about three points, with a standard deviation of one, (1024, 2048)."""
    noise = gaussian_filter(np.random.default_rng(3).normal(size=(1024, 2048)), 1.5, mode="wrap")
    return np.asarray(noise / noise.std())


def scenery_from(code: Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.float64]]) -> Scenery:
    """Scenery (2048 by 1024 points) from a function of column and row to grey codes."""
    down, across = np.mgrid[:1024, :2048].astype(np.float64)
    grey = np.clip(code(across, down), 0, 255).astype(np.uint8)
    return scenery_of(np.repeat(grey[..., np.newaxis], 3, axis=2))
