"""Made-up sets: a head with known faults, a lens, and points with noise; no pictures."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from controller.inspection.lens_model import Array, BrownLens, project, see
from controller.inspection.links import Link
from controller.inspection.poses import GEAR_SD_DEG, HeadFrame, head_covariances, pan_axis, predicted, turned
from controller.optics.projection import Projection

NOISE_PX = 0.3
LENS = BrownLens(Projection.RECTILINEAR, 2900.0, 2011.0, 1490.0, k1=-0.06, k2=0.02)
ASSUMED = BrownLens(Projection.RECTILINEAR, 2850.0, 2000.0, 1500.0)


@dataclass(frozen=True)
class MadeUp:
    """A set with its truth: HEAD_TERMS and rotations."""

    frames: list[HeadFrame]
    links: list[Link]
    head: Array
    rotations: Array
    wild: list[NDArray[np.bool_]]


def grid(pans: NDArray[Any], tilts: NDArray[Any], sd_deg: float = 0.02, both_ways: bool = False) -> list[HeadFrame]:
    return [
        HeadFrame(pan, tilt, 0.0, sd_deg, sd_deg, sd_deg, pan, tilt, (-1) ** (row + column // 2) if both_ways else 1, 1)
        for row, tilt in enumerate(tilts)
        for column, pan in enumerate(pans)
    ]


def make(
    rng: np.random.Generator, frames: list[HeadFrame], lens: BrownLens = LENS, points: int = 40, wild: float = 0.05
) -> MadeUp:
    head = rng.normal(size=11) * [0.003, 0.003, *np.radians([0.3, 0.3, 0.3, 0.03, 0.03, *[GEAR_SD_DEG] * 4])]
    rotations, _ = predicted(frames, pan_axis(0, 0), head)
    errors = np.linalg.cholesky(head_covariances(frames)) @ rng.normal(size=(len(frames), 3, 1))
    rotations = rotations @ turned(errors[:, :, 0])
    links, wilds = [], []
    size = 2 * np.array([2000.0, 1500.0])
    for one in range(len(frames)):
        for two in range(one + 1, len(frames)):
            if np.degrees(np.arccos(np.clip(rotations[one, :, 2] @ rotations[two, :, 2], -1, 1))) > 55:
                continue
            pixels = rng.uniform(0, 1, (400, 2)) * size
            hit = project(lens, see(lens, pixels).rays @ (rotations[two].T @ rotations[one]).T).pixels
            inside = ((hit > 0) & (hit < size)).all(axis=1)
            pixels, hit = pixels[inside][:points], hit[inside][:points]
            if len(pixels) < 8:
                continue
            strange = rng.uniform(size=len(pixels)) < wild
            hit = hit + strange[:, None] * rng.uniform(-50, 50, hit.shape)
            noise = rng.normal(0, NOISE_PX, (2, *hit.shape))
            links.append(Link(one, two, pixels + noise[0], hit + noise[1], NOISE_PX))
            wilds.append(strange)
    return MadeUp(frames, links, head, rotations, wilds)


def with_sd(frames: list[HeadFrame], sd_deg: float) -> list[HeadFrame]:
    return [replace(frame, yaw_sd_deg=sd_deg, pitch_sd_deg=sd_deg, roll_sd_deg=sd_deg) for frame in frames]
