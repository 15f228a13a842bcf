"""A level ground below the horizon: its distance in every direction is known, but for the height of the axes above it."""

import numpy as np

from controller.inspection.adjustment import Adjusted
from controller.inspection.fitting import Loss
from controller.inspection.lens_model import Array, see
from controller.inspection.links import Points, misses
from controller.inspection.near_points import OffsetFit, misses_of, normal_of_offset, parallax_of, reach_of

ROUNDS = 20
FEWEST, NEAR_ENOUGH = 30, 0.2  # points of the ground that is within five heights
LARGEST = 0.5  # of the height: no pupil is farther from the axis


def nearness_of_ground(points: Points, adjusted: Adjusted, offset: Array) -> Array:
    """One over the distance of the ground in each direction, in heights; 0 above the horizon."""
    rays = see(adjusted.lens, points.first_px).rays
    own = adjusted.rotations[points.first]
    down = np.nan_to_num((own @ rays[:, :, None])[:, 1, 0])
    for _ in range(3):
        pupil = np.maximum(down, 0)[:, None] * np.array([offset[0], 0.0, offset[1]])
        down = np.nan_to_num((own @ (pupil + reach_of(pupil, rays) * rays)[:, :, None])[:, 1, 0])
    return np.maximum(down, 0.0)


def first_offset(points: Points, adjusted: Adjusted) -> Array | None:
    """An offset (2,) over the height that most points below the horizon fit, with the rotations as they are."""
    offset = np.zeros(2)
    missed, nearness = misses(points, adjusted.lens, adjusted.rotations), nearness_of_ground(points, adjusted, offset)
    chosen = missed.seen & (nearness > 0)
    if not _enough(nearness[chosen]):
        return None
    part, missed, nearness = points.only(chosen), misses_of(missed, chosen), nearness[chosen]
    for number in range(ROUNDS):
        there = parallax_of(part, adjusted, missed, nearness, offset)
        length = np.hypot(there.off[:, 0], there.off[:, 1])
        noise = max(float(np.median(length) if number else np.max(length)), 1.0)
        weights = Loss(noise, robust=True).weights(length)
        normal, gradient, _ = normal_of_offset(there, missed, part, adjusted, weights)
        offset = np.clip(offset - np.linalg.pinv(normal, hermitian=True) @ gradient, -LARGEST, LARGEST)
    return offset


def joint_fit(points: Points, adjusted: Adjusted, offset: Array) -> OffsetFit | None:
    """The offset after one step, with all that was adjusted giving way (the Schur complement).

    `adjusted` is of points without the parallax of `offset`. None if too few are good.
    """
    missed, nearness = misses(points, adjusted.lens, adjusted.rotations), nearness_of_ground(points, adjusted, offset)
    chosen = missed.seen & (nearness > 0) & np.concatenate([np.zeros(0, dtype=bool), *adjusted.good])
    if not _enough(nearness[chosen]):
        return None
    part, missed = points.only(chosen), misses_of(missed, chosen)
    there = parallax_of(part, adjusted, missed, nearness[chosen], offset)
    normal, gradient, cross = normal_of_offset(there, missed, part, adjusted, np.ones(len(part.first)))
    size = cross.shape[1]
    left = normal - cross @ adjusted.covariance[:size, :size] @ cross.T
    covariance = np.asarray(np.linalg.pinv((left + left.T) / 2, hermitian=True), dtype=np.float64)
    there_now = offset - covariance @ gradient
    return OffsetFit(there_now, covariance, len(part.first)) if np.abs(there_now).max() < LARGEST else None


def _enough(nearness: Array) -> bool:
    return bool(np.count_nonzero(nearness > NEAR_ENOUGH) >= FEWEST)
