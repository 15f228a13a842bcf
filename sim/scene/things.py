"""Stones and posts on the meadow, each at one of a few distances: their shifts show where the lens really is."""

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from sim.scene.lens import Floats
from sim.scene.scenery import Codes

DISTANCES_MM = (20_000.0, 6_000.0, 2_500.0)  # from far to near
COUNTS = (26, 14, 7)
POST_MM = (1300.0, 110.0)  # height, width
STONE_MM = (900.0, 450.0)  # width, height, at most


class _Sheet:
    """An empty layer to paint on: codes, and the angles of its points."""

    def __init__(self, width: int) -> None:
        self.codes: Codes = np.zeros((width // 2, width, 4), dtype=np.uint8)
        self.width = width

    def part(self, yaw_rad: float, half_width: float, top: float, bottom: float) -> tuple[slice, NDArray[np.intp]]:
        """Rows and columns around a place; angles in radians. Columns wrap around."""
        per_rad = self.width / (2 * math.pi)
        rows = slice(
            max(0, math.floor((math.pi / 2 - top) * per_rad) - 1), math.ceil((math.pi / 2 - bottom) * per_rad) + 1
        )
        middle, reach = (yaw_rad / (2 * math.pi) + 0.5) * self.width, half_width * per_rad
        columns = np.arange(math.floor(middle - reach) - 1, math.ceil(middle + reach) + 1)
        return rows, columns % self.width

    def angles(self, rows: slice, columns: NDArray[np.intp], yaw_rad: float) -> tuple[Floats, Floats]:
        """Angle right of `yaw_rad` for each column, and pitch for each row, in radians."""
        yaw = ((columns + 0.5) / self.width - 0.5) * 2 * np.pi - yaw_rad
        yaw = (yaw + np.pi) % (2 * np.pi) - np.pi
        pitch = (0.5 - (np.arange(self.codes.shape[0])[rows] + 0.5) / self.codes.shape[0]) * np.pi
        return yaw.astype(np.float32), pitch.astype(np.float32)

    def paint(self, rows: slice, columns: NDArray[np.intp], light: Floats, inside: Floats, brightest: float) -> None:
        """Paint light (rows, columns, 3) where `inside`, in points from the edge inward, is positive."""
        opacity = np.clip(inside + 0.5, 0, 1)
        share = np.clip(light / brightest, 0, 1)
        curved = np.where(share <= 0.0031308, 12.92 * share, 1.055 * share ** (1 / 2.4) - 0.055)
        before = self.codes[rows, columns].astype(np.float32)
        after = np.concatenate([255 * curved, np.full((*opacity.shape, 1), 255)], axis=-1)
        # Colour continues a little beyond the edge, so that nothing dark is mixed in there.
        mixed = before + np.ceil(opacity)[..., np.newaxis] * (after - before)
        mixed[..., 3] = np.maximum(before[..., 3], 255 * opacity)
        self.codes[rows, columns] = np.rint(mixed).astype(np.uint8)


def things(seed: int, grain: Floats, eye_mm: float, brightest: float) -> Iterator[tuple[Codes, float]]:
    """Yield layers of red, green, blue and opacity with their distances from the middle in mm, from far to near.

    `grain` (height, width) is the roughness of their surfaces; `eye_mm` is how far below the middle their feet are.
    """
    random = np.random.default_rng((seed, 4))
    for distance_mm, count in zip(DISTANCES_MM, COUNTS, strict=True):
        sheet = _Sheet(grain.shape[1])
        turn = random.uniform(0, 2 * math.pi)
        for number in range(count):
            yaw = turn + 2 * math.pi * (number + random.uniform(-0.3, 0.3)) / count
            paint = _post if number % 2 else _stone
            paint(sheet, yaw, distance_mm, grain=grain, eye_mm=eye_mm, brightest=brightest, random=random)
        yield sheet.codes, distance_mm


def _post(
    sheet: _Sheet,
    yaw_rad: float,
    distance_mm: float,
    *,
    grain: Floats,
    eye_mm: float,
    brightest: float,
    random: np.random.Generator,
) -> None:
    """An upright wooden post with a pale head."""
    height_mm, width_mm = POST_MM[0] * random.uniform(0.8, 1.2), POST_MM[1]
    top, bottom = math.atan2(height_mm - eye_mm, distance_mm), math.atan2(-eye_mm, distance_mm)
    half = width_mm / 2 / distance_mm
    rows, columns = sheet.part(yaw_rad, half, top, bottom)
    yaw, pitch = sheet.angles(rows, columns, yaw_rad)
    scale = sheet.width / (2 * math.pi)
    inside = np.minimum((half - np.abs(yaw)) * scale, np.minimum(top - pitch, pitch - bottom)[:, np.newaxis] * scale)
    round_shade = 0.55 + 0.45 * np.sqrt(np.clip(1 - (yaw / half) ** 2, 0, 1))
    head = pitch > top - (top - bottom) * 0.12
    colour = np.where(head[:, np.newaxis, np.newaxis], np.array([0.75, 0.72, 0.66]), np.array([0.24, 0.18, 0.12]))
    rough = 1 + 0.35 * grain[rows, columns]
    sheet.paint(rows, columns, (colour * (round_shade * rough)[..., np.newaxis]).astype(np.float32), inside, brightest)


def _stone(
    sheet: _Sheet,
    yaw_rad: float,
    distance_mm: float,
    *,
    grain: Floats,
    eye_mm: float,
    brightest: float,
    random: np.random.Generator,
) -> None:
    """A stone with an uneven outline, lit from above."""
    half, tall = STONE_MM[0] / 2 * random.uniform(0.5, 1) / distance_mm, STONE_MM[1] * random.uniform(0.6, 1)
    top, bottom = math.atan2(tall - eye_mm, distance_mm), math.atan2(-eye_mm, distance_mm)
    half /= math.cos(bottom)
    rows, columns = sheet.part(yaw_rad, half * 1.3, top + (top - bottom) * 0.2, bottom)
    yaw, pitch = sheet.angles(rows, columns, yaw_rad)
    across, upward = yaw / half, ((pitch - bottom) / (top - bottom))[:, np.newaxis]
    bearing = np.arctan2(upward, across[np.newaxis])
    phases = random.uniform(0, 2 * math.pi, 4)
    edge = 1 + sum(0.12 / n * np.sin(n * bearing * 2 + phase) for n, phase in enumerate(phases, 1))
    radius = np.hypot(np.abs(across), upward)
    inside = np.minimum(
        (edge - radius) * min(half, top - bottom) * sheet.width / (2 * math.pi),
        (pitch - bottom)[:, np.newaxis] * sheet.width / (2 * math.pi),
    )
    shade = (0.35 + 0.65 * np.clip(upward, 0, 1) - 0.12 * across) * (1 + 0.5 * grain[rows, columns])
    colour = np.array([0.46, 0.44, 0.41]) * np.clip(shade, 0.05, 3)[..., np.newaxis]
    sheet.paint(rows, columns, colour.astype(np.float32), inside.astype(np.float32), brightest)
