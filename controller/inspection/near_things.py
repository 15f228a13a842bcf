"""The nearest things of a set: points off the turn that far points agree on, all at one distance."""

import numpy as np

from controller.inspection.adjustment import GATE, Adjusted
from controller.inspection.fitting import Loss
from controller.inspection.lens_model import Array
from controller.inspection.links import Flags, Points, misses
from controller.inspection.near_points import NoPupil, OffsetFit, misses_of, normal_of_offset, parallax_of
from controller.inspection.shifted import moving_along

FEWEST = 12  # near points: fewer may be leaves that moved
TIMES_OPPOSITE = 3  # as many points must be off as a pupil makes them as would be by one on the axis's other side
FEW_WILD = 0.1  # of all points: this many are wild in any set
SAME_SHARE, SURE_SHARE = 0.03, 0.1  # distances this alike are one thing's; a point must know its own this well
FOR_NEAREST = 0.03  # of the near points must be at one distance, to be the nearest thing
LARGEST = 0.5  # of the distance: the pupil is inside the camera
ROUNDS = 12
MAY_BE_NEAR = 2.0  # standard deviations of a parallax


def nearest_offset(points: Points, adjusted: Adjusted) -> OffsetFit | NoPupil:
    """The pupil's offset over the distance of the nearest things."""
    missed = misses(points, adjusted.lens, adjusted.rotations)
    length = np.hypot(missed.residuals[:, 0], missed.residuals[:, 1]) / adjusted.noise
    held = ~adjusted.alone
    off = missed.seen & (length > GATE) & held[points.first] & held[points.second]
    if off.sum() < FEWEST:
        return NoPupil.NOTHING_NEAR
    near, missed = points.only(off), misses_of(missed, off)
    there = parallax_of(near, adjusted, missed, np.ones(len(near.first)), np.zeros(2))
    chosen = _nearest(-there.by_offset, there.off)
    if isinstance(chosen, NoPupil):
        return NoPupil.NOTHING_NEAR if off.mean() < FEW_WILD else chosen
    members, offset = chosen
    near, missed = near.only(members), misses_of(missed, members)
    covariance = np.eye(2)
    for _ in range(ROUNDS):
        there = parallax_of(near, adjusted, missed, np.ones(len(near.first)), offset)
        weights = Loss(1.0, robust=True).weights(np.hypot(there.off[:, 0], there.off[:, 1]))
        normal, gradient, cross = normal_of_offset(there, missed, near, adjusted, weights)
        own = np.linalg.pinv(normal, hermitian=True)
        offset = offset - own @ gradient
        gain = own @ cross
        covariance = own + gain @ adjusted.covariance[: gain.shape[1], : gain.shape[1]] @ gain.T
    # Things this alike in distance count as one, and windows at their edges show some background: a rectangle
    # (JCGM 100:2008, 4.3.7), common to all points.
    common = SAME_SHARE**2 / 3 * np.outer(offset, offset)
    return OffsetFit(offset, covariance + common, len(near.first))


def may_be_near(points: Points, adjusted: Adjusted, offset: Array) -> Flags:
    """The points with a parallax beyond chance, and as many beyond chance the other way, so as not to favour a side.

    Things somewhat near shift by less than wild points do, and would turn the frames if they counted as far.
    """
    missed = misses(points, adjusted.lens, adjusted.rotations)
    there = parallax_of(points, adjusted, missed, np.ones(len(points.first)), np.zeros(2))
    moves = there.by_offset @ offset
    size = np.maximum(np.linalg.norm(moves, axis=1), 1e-12)
    return np.asarray(np.abs(np.einsum("ni,ni->n", moves, there.off)) > MAY_BE_NEAR * size)


def lengths_with_parallax(points: Points, adjusted: Adjusted, offset: Array) -> Array:
    """How far points (n,) are from where a thing is seen that is at the most favourable distance, in standard deviations.

    Distances are from that of the nearest things to infinity. Infinite if the lens cannot see the point.
    """
    missed = misses(points, adjusted.lens, adjusted.rotations)
    there = parallax_of(points, adjusted, missed, np.ones(len(points.first)), np.zeros(2))
    moves = there.by_offset @ offset
    size = np.maximum(np.linalg.norm(moves, axis=1), 1e-12)
    nearness = np.clip(-np.einsum("ni,ni->n", moves, there.off) / size**2, 0.0, 1.0 + SAME_SHARE)
    return np.where(missed.seen, np.linalg.norm(there.off + nearness[:, None] * moves, axis=1), np.inf)


def _nearest(by_offset: Array, off: Array) -> tuple[Flags, Array] | NoPupil:
    """The points of the nearest thing, and their offset. `off` grows with `by_offset` times the offset."""
    angles = np.radians(np.arange(0, 360, 2.0))
    directions = np.stack([np.sin(angles), np.cos(angles)], axis=1)
    fitting = [moving_along(direction, by_offset, off) for direction in directions]
    counts = np.array([fits.sum() for fits in fitting])
    best = counts >= counts.max() - 2
    toward = directions[best].mean(axis=0)
    if np.linalg.norm(toward) < 0.5:
        return NoPupil.TOO_WEAK
    direction = toward / np.linalg.norm(toward)
    alike, opposite = (moving_along(each, by_offset, off) for each in (direction, -direction))
    if alike.sum() < max(FEWEST, TIMES_OPPOSITE * opposite.sum()):
        return NoPupil.UNLIKE
    moves = by_offset @ direction
    size = np.linalg.norm(moves, axis=1)
    share = np.einsum("ni,ni->n", moves, off) / size**2
    sure = alike & (1 / size < SURE_SHARE * share)
    needed = max(FEWEST, round(FOR_NEAREST * float(sure.sum())))
    for candidate in sorted(share[sure], reverse=True):
        if candidate > LARGEST:
            continue
        members = sure & (np.abs(share - candidate) < SAME_SHARE * candidate + 2 / size)
        if members.sum() >= needed:
            middle = float(np.average(share[members], weights=size[members] ** 2))
            members = sure & (np.abs(share - middle) < SAME_SHARE * middle + 3 / size)
            return members, direction * middle
    return NoPupil.TOO_WEAK
