"""Rings of matched points as from a real rig: a lens off its point and axis, with distortion; a head that slips."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from controller.calibration.lens_terms import Points
from controller.calibration.turning import PictureGeometry
from tests.controller.calibration.pictured import SIZE, camera_of, turned

Array = NDArray[np.float64]
STEPS_PER_DEGREE = 320.0


@dataclass(frozen=True, slots=True)
class RingRig:
    """The truth of a ring. The lens follows D. Brown, Photogrammetric Engineering 37:855, 1971, in the direction of
    OpenCV's documentation: a point that belongs at r is shown at r (1 + k1 r^2 + k2 r^4). Focal lengths for a sensor 36
    mm across.
    """

    focal_mm: float = 20.0
    count: int = 8
    noise_px: float = 0.3
    points: int = 60
    missed_deg: float = 0.0
    k1: float = 0.0
    k2: float = 0.0
    aside_px: tuple[float, float] = (0.0, 0.0)
    pupil_mm: float = 0.0
    nearest_mm: float = 10_000.0
    far_per_mm: float | None = None  # one over the distance of everything; None: any distance from nearest_mm on
    ground: bool = False  # near things only in the lower half of the picture
    slip_deg: float = 0.0
    slip_at: int = 4
    pitch_deg: float = 0.0

    @property
    def steps(self) -> Array:
        """The commanded positions."""
        return np.asarray(np.arange(self.count) * 360 / self.count * STEPS_PER_DEGREE)

    @property
    def expected(self) -> PictureGeometry:
        """The camera as a kit describes it: no distortion, the axis in the middle."""
        return camera_of(self.focal_mm)

    def pairs(self, random: np.random.Generator) -> list[Points]:
        """Matched points of neighbours, the last with the first as well."""
        yaw = self.steps / STEPS_PER_DEGREE + random.normal(0, self.missed_deg, self.count)
        yaw[self.slip_at :] += self.slip_deg
        turns = np.append(np.diff(yaw), 360 + yaw[0] - yaw[-1])
        return [self.pair(random, turned(float(turn), self.pitch_deg)) for turn in turns]

    def pair(self, random: np.random.Generator, turn: Rotation) -> Points:
        """Matched points of two pictures, the second after `turn` (its rays into the first's axes)."""
        firsts, seconds, found = [], [], 0
        camera = self.expected
        while found < self.points:
            first = random.uniform((0, 0), SIZE, (4 * self.points, 2))
            rays = camera.rays(first)
            inverse = random.uniform(0, 1 / self.nearest_mm, len(first))
            if self.far_per_mm is not None:
                inverse[:] = self.far_per_mm
            if self.ground:
                inverse *= (first[:, 1] > SIZE[1] / 2) * 2.0
                inverse = np.minimum(inverse, 1 / self.nearest_mm)
            moved = self.pupil_mm * (turn.apply([0.0, 0.0, 1.0]) - [0.0, 0.0, 1.0])
            second = camera.pixels(turn.inv().apply(rays - inverse[:, np.newaxis] * moved))
            both = [self.shown(first), self.shown(second)]
            inside = np.all([(part >= 0) & (part <= SIZE) for part in both], axis=(0, 2))
            firsts.append(both[0][inside])
            seconds.append(both[1][inside])
            found += int(inside.sum())
        chosen = [np.concatenate(part)[: self.points] for part in (firsts, seconds)]
        one, other = (part + random.normal(0, self.noise_px, part.shape) for part in chosen)
        return one, other

    def shown(self, due_px: Array) -> Array:
        """Where the lens shows the points that an ideal one would show at these pixels, both (n, 2)."""
        camera = self.expected
        due = (due_px - camera.middle_px) / camera.focal_px
        square = np.sum(due**2, axis=1, keepdims=True)
        seen = due * (1 + self.k1 * square + self.k2 * square**2)
        return np.asarray(seen * camera.focal_px + camera.middle_px + self.aside_px)


def bent_by(rig: RingRig, share: float) -> RingRig:
    """The rig with a lens that shows the picture's corner `share` too far out (barrel: negative)."""
    camera = rig.expected
    corner = np.sum((np.array(camera.middle_px) / camera.focal_px) ** 2)
    return replace(rig, k1=share / corner)
