"""Pictures put back on the sphere: how each should look from its pose, computed without the simulator's renderer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial.transform import Rotation

from controller.kit.kit import Kit
from controller.optics.projection import off_axis_angle
from sim.scene.scenery import Scenery

Array = NDArray[np.float64]


def codes_of_scene(scenery: Scenery) -> Array:
    """Red, green and blue (3, height, width + 2) of the scenery as one layer, 0 to 1, with one more column a side."""
    (layer,) = scenery.flattened().layers
    points = layer.points[1:-1, 1:-1]
    parts = np.stack([(points >> shift & 255) / 255 for shift in (0, 8, 16)])
    return np.pad(parts, ((0, 0), (0, 0), (1, 1)), mode="wrap")


def to_light(code: Array) -> Array:
    """IEC 61966-2-1."""
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def to_code(light: Array) -> Array:
    """IEC 61966-2-1, from light clipped to 0..1 to codes 0..255, not rounded."""
    light = np.clip(light, 0, 1)
    return np.asarray(255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055))


@dataclass(frozen=True, slots=True)
class Watcher:
    """The scene, and the pixels of a kit's upright pictures that are compared: their positions and camera rays."""

    scene: Array
    brightest: float
    rows: NDArray[np.int64]
    columns: NDArray[np.int64]
    rays: Array

    @classmethod
    def of(cls, kit: Kit, scenery: Scenery, across: int, up: int, every: int = 7) -> Watcher:
        field = kit.field(0.0)
        rows, columns = (part.ravel() for part in np.mgrid[3:up:every, 2:across:every])
        x = ((columns + 0.5) / across - 0.5) * field.width_mm + kit.camera.offset_right_mm
        y = (0.5 - (rows + 0.5) / up) * field.height_mm + kit.camera.offset_up_mm
        angle = np.array([off_axis_angle(field.projection, field.focal_length_mm, r) for r in np.hypot(x, y)])
        # Forward is x, left y, up z: scipy's axes are right-handed, so left is negative to the right.
        toward = np.arctan2(y, x)
        rays = np.stack([np.cos(angle), -np.sin(angle) * np.cos(toward), np.sin(angle) * np.sin(toward)], axis=-1)
        return cls(codes_of_scene(scenery), scenery.brightest, rows, columns, rays)

    def expected(self, yaw_deg: float, pitch_deg: float, brightness: float) -> Array:
        """Codes (n, 3) that the pixels should have, without noise."""
        turn = Rotation.from_euler("ZY", [-yaw_deg, -pitch_deg], degrees=True)
        x, left, z = turn.apply(self.rays).T
        height, width = self.scene.shape[1], self.scene.shape[2] - 2
        column = (np.arctan2(-left, x) / (2 * np.pi) + 0.5) * width - 0.5
        row = (0.5 - np.arcsin(np.clip(z, -1, 1)) / np.pi) * height - 0.5
        parts = [ndimage.map_coordinates(part, [row, column + 1], order=1, mode="nearest") for part in self.scene]
        return to_code(to_light(np.stack(parts, axis=-1)) * self.brightest * brightness)

    def difference(self, picture: NDArray[np.uint8], yaw_deg: float, pitch_deg: float, brightness: float) -> Array:
        """Picture less expectation, in codes (n, 3), if the expectation is neither black nor clipped; otherwise 0."""
        expected = self.expected(yaw_deg, pitch_deg, brightness)
        shown = picture[self.rows, self.columns].astype(np.float64)
        return np.where((expected > 12) & (expected < 243), shown - expected, 0.0)

    def rms(self, picture: NDArray[np.uint8], yaw_deg: float, pitch_deg: float, brightness: float) -> float:
        difference = self.difference(picture, yaw_deg, pitch_deg, brightness)
        return float(np.sqrt(np.mean(difference[difference != 0] ** 2)))

    def found_off_deg(
        self, picture: NDArray[np.uint8], yaw_deg: float, pitch_deg: float, brightness: float, within_deg: float = 0.45
    ) -> tuple[float, float]:
        """The correction (yaw, pitch, degrees) of the pose with which the picture fits the scene best."""

        def misfit(off: Array) -> Array:
            return self.difference(picture, yaw_deg + off[0], pitch_deg + off[1], brightness).ravel()

        steps = np.arange(-within_deg, within_deg + 0.01, 0.15)
        tried = [np.array([yaw, pitch]) for yaw in steps for pitch in steps]
        off = min(tried, key=lambda off: float(np.mean(misfit(off) ** 2)))
        for _ in range(6):  # Gauss-Newton, with slopes over about half a pixel
            slopes = [(misfit(off + step) - misfit(off - step)) / 0.05 for step in np.eye(2) * 0.025]
            off = off - np.linalg.lstsq(np.stack(slopes, axis=-1), misfit(off), rcond=None)[0]
        return float(off[0]), float(off[1])
