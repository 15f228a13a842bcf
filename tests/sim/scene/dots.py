"""Scenery of dots at known directions, and their positions in a picture."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from sim.scene.lens import Floats
from sim.scene.scenery import Layer, layer_of

Array = NDArray[np.float64]


def unit(yaw_deg: Array, pitch_deg: Array) -> Array:
    """Unit vectors (..., 3): x toward yaw 0, y toward yaw 90, z up."""
    yaw, pitch = np.radians(yaw_deg), np.radians(pitch_deg)
    return np.stack([np.cos(pitch) * np.cos(yaw), np.cos(pitch) * np.sin(yaw), np.sin(pitch)], axis=-1)


def grid(width: int) -> tuple[Array, Array]:
    """Yaw and pitch in degrees of the points of an equirectangular picture, each (height, width)."""
    yaw = ((np.arange(width) + 0.5) / width - 0.5) * 360
    pitch = 90 - (np.arange(width // 2) + 0.5) / width * 360
    return np.broadcast_to(yaw, (width // 2, width)), np.broadcast_to(pitch[:, np.newaxis], (width // 2, width))


def dots_at(yaw_deg: Array, pitch_deg: Array, width: int, size_deg: float, distance_mm: float = np.inf) -> Layer:
    """Round white dots on black, whose codes fall off as a Gaussian of standard deviation `size_deg`."""
    chord, _ = cKDTree(unit(yaw_deg, pitch_deg)).query(
        unit(*grid(width)).reshape(-1, 3), distance_upper_bound=np.radians(5 * size_deg)
    )
    codes = np.rint(255 * np.exp(-((np.degrees(chord) / size_deg) ** 2) / 2)).astype(np.uint8)
    return layer_of(np.repeat(codes.reshape(width // 2, width, 1), 3, axis=2), distance_mm)


def centre_of_light(light: Floats, column: float, row: float, reach: int) -> tuple[float, float]:
    """The centre of gravity (column, row) of the light within `reach` pixels of a position."""
    left, top = round(column) - reach, round(row) - reach
    assert left >= 0
    assert top >= 0
    part = light[top : top + 2 * reach + 1, left : left + 2 * reach + 1, 1].astype(np.float64)
    assert part.shape == (2 * reach + 1, 2 * reach + 1)
    assert part.sum() > 0
    down, across = np.mgrid[: 2 * reach + 1, : 2 * reach + 1]
    return left + float((part * across).sum() / part.sum()), top + float((part * down).sum() / part.sum())
