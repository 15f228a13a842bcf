"""Made-up sets of a lens whose entrance pupil is beside the axis, with near things at known distances."""

from collections.abc import Callable

import numpy as np

from controller.inspection.lens_model import Array, project, see
from controller.inspection.links import Link
from controller.inspection.poses import GEAR_SD_DEG, HeadFrame, head_covariances, pan_axis, predicted, turned
from tests.controller.inspection.sets import LENS, NOISE_PX, MadeUp

SIZE = 2 * np.array([2000.0, 1500.0])
Distances = Callable[[np.random.Generator, Array], Array]
"""From directions in the world (n, 3) to one over the distance from the axis, per mm."""


def things(share: float, nearest_mm: float = 1500.0) -> Distances:
    """A share of the points at one distance, a fifth three to ten times as far, the others nowhere."""

    def per_mm(rng: np.random.Generator, world: Array) -> Array:
        drawn = rng.uniform(size=len(world))
        middle = 1 / (nearest_mm * rng.uniform(3, 10, len(world)))
        return np.where(drawn < share, 1 / nearest_mm, np.where(drawn < share + 0.2, middle, 0.0))

    return per_mm


def level_ground(height_mm: float, standing: float = 0.1) -> Distances:
    """A level ground, with a share of the points below the horizon on things that stand on it, half as far away."""

    def per_mm(rng: np.random.Generator, world: Array) -> Array:
        ground = np.maximum(world[:, 1], 0) / height_mm
        return np.where(rng.uniform(size=len(world)) < standing, 2 * ground, ground)

    return per_mm


def make_near(
    rng: np.random.Generator,
    frames: list[HeadFrame],
    distances: Distances,
    right_mm: float,
    ahead_mm: float,
    points: int = 40,
    wild: float = 0.03,
) -> MadeUp:
    head = rng.normal(size=11) * [0.003, 0.003, *np.radians([0.3, 0.3, 0.3, 0.03, 0.03, *[GEAR_SD_DEG] * 4])]
    rotations, _ = predicted(frames, pan_axis(0, 0), head)
    errors = np.linalg.cholesky(head_covariances(frames)) @ rng.normal(size=(len(frames), 3, 1))
    rotations = rotations @ turned(errors[:, :, 0])
    pupil = np.array([right_mm, 0.0, ahead_mm])
    links, wilds = [], []
    for one in range(len(frames)):
        for two in range(one + 1, len(frames)):
            if np.degrees(np.arccos(np.clip(rotations[one, :, 2] @ rotations[two, :, 2], -1, 1))) > 50:
                continue
            pixels = rng.uniform(0, 1, (400, 2)) * SIZE
            rays = see(LENS, pixels).rays
            # A thing at distance d from the axis, from a pupil elsewhere: where the ray leaves that sphere.
            per_mm = distances(rng, rays @ rotations[one].T)[:, None]
            along = rays @ pupil[:, None] * per_mm
            reach = np.sqrt(along**2 + 1 - (pupil @ pupil) * per_mm**2) - along
            world = (per_mm * pupil + reach * rays) @ rotations[one].T
            hit = project(LENS, world @ rotations[two] - per_mm * pupil).pixels
            inside = ((hit > 0) & (hit < SIZE)).all(axis=1)
            pixels, hit = pixels[inside][:points], hit[inside][:points]
            if len(pixels) < 8:
                continue
            strange = rng.uniform(size=len(pixels)) < wild
            hit = hit + strange[:, None] * rng.uniform(-50, 50, hit.shape)
            noise = rng.normal(0, NOISE_PX, (2, *hit.shape))
            links.append(Link(one, two, pixels + noise[0], hit + noise[1], NOISE_PX))
            wilds.append(strange)
    return MadeUp(frames, links, head, rotations, wilds)
