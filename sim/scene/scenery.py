"""Scenery: pictures of a whole sphere, one behind the other, in the equirectangular projection.

Yaw 0 is in the middle of such a picture, yaw grows to the right, the top edge is the zenith. Every value is an eight-bit
code on the sRGB curve (IEC 61966-2-1), for light from nothing to the scenery's `brightest`. Codes are interpolated
bilinearly between the middles of the points.
"""

import math
import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.scene.lens import Floats

Codes = NDArray[np.uint8]
Packed = NDArray[np.uint32]

WIDEST = 8192  # points; 134 megabytes
NARROWEST = 256
PAIRS = np.uint32(0x00FF00FF)  # two eight-bit codes, each with room above for eight bits of weight
FULL = 255 * 256  # the largest interpolated code


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """One picture of the whole sphere at one distance from the point about which the head turns.

    `points` (height + 2, width + 2) has red, green, blue and opacity in each number, from the lowest byte on. One more
    row and column on every side provide neighbours everywhere.
    """

    points: Packed
    distance_mm: float = math.inf

    @property
    def width(self) -> int:
        """Points across the whole turn."""
        return int(self.points.shape[1]) - 2


@dataclass(frozen=True, slots=True)
class Scenery:
    """Layers from far to near. Code 255 is `brightest` times the light that just saturates the sensor."""

    layers: tuple[Layer, ...]
    brightest: float = 1.0

    def flattened(self) -> "Scenery":
        """All layers as one picture, seen from the point about which the head turns."""
        if len(self.layers) == 1:
            return self
        whole = self.layers[0].points.copy()
        for layer in self.layers[1:]:
            rows, columns = np.nonzero(layer.points >> np.uint32(24))
            behind, codes = (_unpacked(points[rows, columns]).astype(np.float32) for points in (whole, layer.points))
            behind += codes[:, 3:] / 255 * (codes - behind)
            behind[:, 3] = 255
            whole[rows, columns] = _packed(np.rint(behind).astype(np.uint8))
        return Scenery((Layer(whole),), self.brightest)


def layer_of(codes: Codes, distance_mm: float = math.inf) -> Layer:
    """A layer from codes of shape (height, width, 3 or 4): red, green, blue, and opacity unless it is opaque."""
    height, width, parts = codes.shape
    whole = np.full((height + 2, width + 2, 4), 255, dtype=np.uint8)
    whole[1:-1, 1:-1, :parts] = codes
    whole[[0, -1]] = whole[[1, -2]]
    whole[:, 0], whole[:, -1] = whole[:, -2], whole[:, 1]
    return Layer(_packed(whole), distance_mm)


def _packed(codes: Codes) -> Packed:
    return np.ascontiguousarray(codes).view("<u4")[..., 0].astype(np.uint32, copy=False)


def _unpacked(points: Packed) -> Codes:
    return points.astype("<u4", copy=False)[..., np.newaxis].view(np.uint8)


def points_across(pixel_rad: float) -> int:
    """The width of scenery for pixels of `pixel_rad`: no finer than they are, to prevent aliasing."""
    wanted = min(max(2 * math.pi / pixel_rad, NARROWEST), WIDEST)
    steps = math.floor(math.log2(wanted / NARROWEST) * 2)  # 256, 384, 512, 768, ...
    return NARROWEST << steps // 2 if steps % 2 == 0 else NARROWEST * 3 << steps // 2 >> 1


def scenery_of(codes: Codes) -> Scenery:
    """Scenery from an equirectangular picture (height, width, 3), twice as wide as high; everything is infinitely far."""
    return Scenery((layer_of(codes),))


def light_of_codes(brightest: float) -> Floats:
    """The light for every interpolated code from 0 to FULL (IEC 61966-2-1, the curve of sRGB)."""
    code = np.arange(FULL + 1) / FULL
    light = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    return (light * brightest).astype(np.float32)


def seen(layer: Layer, x: Floats, y: Floats, z: Floats) -> tuple[NDArray[np.uint16], NDArray[np.uint16]]:
    """The interpolated codes (0 to FULL) in directions x, y, z, which need not be unit vectors, each of shape (n,).

    Returns two arrays (n, 2): red and blue, green and opacity. Pairs of codes are weighted in one multiplication.
    """
    height, width = layer.points.shape[0] - 2, layer.width
    flat, stride = layer.points.ravel(), width + 2
    across = np.arctan2(y, x) * np.float32(width / (2 * math.pi)) + np.float32(width / 2 + 0.5)
    down = np.float32(height / 2 + 0.5) - np.arctan2(z, np.sqrt(x * x + y * y)) * np.float32(height / math.pi)
    with warnings.catch_warnings():  # directions are NaN outside the image circle
        warnings.simplefilter("ignore", RuntimeWarning)
        column, row = ((place * np.float32(256)).astype(np.int32) for place in (across, down))
    first = (row >> 8) * np.int32(stride) + (column >> 8)
    right, lower = (column & 255).astype(np.uint32), (row & 255).astype(np.uint32)
    both = right * lower >> np.uint32(8)
    weights = (np.uint32(256) + both - right - lower, right - both, lower - both, both)
    red_blue, green_opacity = np.zeros((2, len(first)), dtype=np.uint32)
    for weight, step in zip(weights, (0, 1, stride, stride + 1), strict=True):
        point = flat.take(first + np.int32(step), mode="clip")
        red_blue += (point & PAIRS) * weight
        green_opacity += (point >> np.uint32(8) & PAIRS) * weight
    return _halves(red_blue), _halves(green_opacity)


def _halves(pairs: Packed) -> NDArray[np.uint16]:
    return pairs.astype("<u4", copy=False).view("<u2").reshape(-1, 2)
