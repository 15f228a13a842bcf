"""The coverage of a set of frames, computed independently: nothing here comes from controller/planning.

A core is the pyramid through its four corner rays. The rays are turned by scipy's rotations, two neighbouring corners
span each edge's plane, and the margin of a direction is its angle above the lowest of the four planes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

Array = NDArray[np.float64]


def pose_rotations(yaw_deg: Array, pitch_deg: Array) -> Rotation:
    return Rotation.from_euler("ZYX", np.stack([yaw_deg, -pitch_deg, np.zeros_like(yaw_deg)], axis=1), degrees=True)


def edge_planes(poses: Rotation, half_width_rad: float, half_height_rad: float) -> Array:
    """Inward unit normals (n, 4, 3) of the planes through neighbouring corners of each core."""
    wide, high = np.tan(half_width_rad), np.tan(half_height_rad)
    corners = np.array([[1, wide, high], [1, -wide, high], [1, -wide, -high], [1, wide, -high]])
    normals = np.cross(corners, np.roll(corners, -1, axis=0))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    normals *= np.sign(normals[:, :1])  # the lens axis (1, 0, 0) is inside
    return np.stack([poses.apply(normal) for normal in normals], axis=1)


def margins_deg(planes: Array, directions: Array) -> Array:
    """Margin of each direction (k, 3) in the core that contains it best, in degrees, shape (k,)."""
    best = np.full(len(directions), -1.0)
    for frame in planes:
        np.maximum(best, (directions @ frame.T).min(axis=1), out=best)
    margins: Array = np.degrees(np.arcsin(np.clip(best, -1, 1)))
    return margins


def evenly_spread(count: int) -> Array:
    """Directions on a golden-angle spiral, shape (count, 3)."""
    index = np.arange(count) + 0.5
    polar, turn = np.arccos(1 - 2 * index / count), np.pi * (1 + np.sqrt(5)) * index
    return np.stack([np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar)], axis=1)


def direction(yaw_deg: float, pitch_deg: float) -> Array:
    turned: Array = pose_rotations(np.array([yaw_deg]), np.array([pitch_deg])).apply([1.0, 0.0, 0.0])
    return turned


def lowest_margin_deg(planes: Array, samples: int) -> float:
    """The smallest margin anywhere: dense samples, then a local search from each promising low sample."""
    spread = evenly_spread(samples)
    values = margins_deg(planes, spread)
    spacing_deg = np.degrees(np.sqrt(4 * np.pi / samples))
    # The margin changes by no more than the angle moved, so no other sample can lead to the minimum.
    promising = np.flatnonzero(values < values.min() + 1.5 * spacing_deg)
    near = cKDTree(spread[promising]).query_ball_point(spread[promising], np.radians(2.5 * spacing_deg))
    low = [i for i, others in zip(promising, near, strict=True) if values[i] <= values[promising[others]].min()]
    places, values = _refined(planes, spread[low], np.radians(spacing_deg))
    best = values.argsort()[:5]
    return min(_descend(planes, places[i], np.radians(spacing_deg) / 10) for i in best)


def _descend(planes: Array, start: Array, radius: float) -> float:
    across = np.cross(start, [0.0, 0.0, 1.0] if abs(start[2]) < 0.9 else [1.0, 0.0, 0.0])
    across /= np.linalg.norm(across)
    along = np.cross(start, across)

    def margin(offset: Array) -> float:
        moved = start + offset[0] * across + offset[1] * along
        return float(margins_deg(planes, (moved / np.linalg.norm(moved))[None])[0])

    best = np.zeros(2)
    for size in (radius, radius / 30, radius / 1000):  # restarted, because the margin has kinks
        simplex = best + size * np.array([[0, 0], [1, 0], [-0.5, 0.9]])
        found = minimize(margin, best, method="Nelder-Mead", tol=1e-8, options={"initial_simplex": simplex})
        best = np.asarray(found.x)
    return margin(best)


def quick_lowest(planes: Array, spread: Array) -> float:
    """The lowest margin found from `spread` samples and a search around the five lowest of them.

    Good enough to catch a wrong "covered"; it may stop slightly above the true minimum.
    """
    places = spread[np.argpartition(margins_deg(planes, spread), 5)[:5]]
    _, values = _refined(planes, places, np.sqrt(4 * np.pi / len(spread)))
    return float(values.min())


def _refined(planes: Array, places: Array, radius: float) -> tuple[Array, Array]:
    """Each direction moved downhill by a star of points that shrinks if it finds nothing lower."""
    star = np.array([[np.cos(t), np.sin(t)] for t in np.arange(12) * np.pi / 6])
    values, every = margins_deg(planes, places), np.arange(len(places))
    while radius > 1e-4:
        across = np.cross(places, [0.267, 0.535, 0.802])
        across /= np.linalg.norm(across, axis=1, keepdims=True)
        along = np.cross(places, across)
        moved = places[:, None] + radius * (star[:, :1] * across[:, None] + star[:, 1:] * along[:, None])
        moved /= np.linalg.norm(moved, axis=2, keepdims=True)
        found = margins_deg(planes, moved.reshape(-1, 3)).reshape(-1, 12)
        pick = found.argmin(axis=1)
        better = found[every, pick] < values
        places = np.where(better[:, None], moved[every, pick], places)
        values = np.minimum(values, found[every, pick])
        if better.sum() <= len(better) // 8:
            radius /= 2
    return places, values


def fejes_toth_count(radius_rad: float) -> float:
    """The least number of caps of this radius that can cover the sphere.

    L. Fejes Toth, Lagerungen in der Ebene, auf der Kugel und im Raum, Springer 1953/1972.
    """
    t = np.arctan(1 / (np.sqrt(3) * np.cos(radius_rad)))
    return float(12 * t / (6 * t - np.pi))


def solid_angle_sr(half_width_rad: float, half_height_rad: float) -> float:
    """Solid angle of a rectilinear core in steradians: 4 asin(sin(a) sin(b)) for half-angles a and b."""
    return 4 * float(np.arcsin(np.sin(half_width_rad) * np.sin(half_height_rad)))


def least_frames(half_width_rad: float, half_height_rad: float) -> float:
    """A lower bound for the number of cores that cover: by their solid angle, and by the caps through their corners."""
    cap = np.arctan(np.hypot(np.tan(half_width_rad), np.tan(half_height_rad)))
    return max(4 * np.pi / solid_angle_sr(half_width_rad, half_height_rad), fejes_toth_count(float(cap)))
