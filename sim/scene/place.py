"""An invented place: sky with clouds and a sun, three ranges of hills, a meadow with a track.

Stones and posts are on the meadow at their own distances (`things.py`). Everything follows from a seed. Colours are light
in red, green and blue; 1 just saturates the sensor at the base exposure. Clouds before the sun and the sun itself are
brighter, as they are outdoors.
"""

from dataclasses import dataclass

import numpy as np

from sim.scene.bare import Bareness
from sim.scene.lens import Floats
from sim.scene.noise import clouds, ridge
from sim.scene.scenery import Codes, Layer, Scenery, layer_of
from sim.scene.textures import Surfaces
from sim.scene.things import things

BRIGHTEST = 4.0  # two stops above saturation
EYE_MM = 1600.0  # the camera's height above the meadow
SUN_YAW_DEG, SUN_PITCH_DEG = 132.0, 31.0
ROWS = 64  # of the picture that are painted at a time


@dataclass(frozen=True, slots=True)
class Range:
    """One range of hills: the pitch of its skyline, how far it rises and falls from there, and its colours."""

    pitch_deg: float
    relief_deg: float
    roughness: float
    colour: tuple[float, float, float]
    grain: float


RANGES = (
    Range(6.0, 5.0, 0.75, (0.33, 0.41, 0.52), 0.10),
    Range(2.5, 3.5, 0.55, (0.20, 0.28, 0.25), 0.30),
    Range(-1.5, 2.0, 0.35, (0.13, 0.20, 0.08), 0.45),
)


def make_place(seed: int, width: int, bareness: Bareness | None = None, surfaces: Surfaces | None = None) -> Scenery:
    """The place as scenery `width` points across, the farthest layer first.

    The meadow counts as far away; only the stones and posts are near. With `bareness`, parts of it show nothing. With
    `surfaces`, the meadow has their ground, and their wall is near as well.
    """
    coarse, fine = clouds((seed, 1), width, 0.6, upright=1.8), clouds((seed, 2), width, 0.95)
    yaw = (((np.arange(width) + 0.5) / width - 0.5) * 2 * np.pi).astype(np.float32)
    pitch = ((0.5 - (np.arange(width // 2) + 0.5) / (width // 2)) * np.pi).astype(np.float32)
    lines = [
        np.radians(hills.pitch_deg + hills.relief_deg * ridge((seed, 3, number), yaw, hills.roughness))
        for number, hills in enumerate(RANGES)
    ]
    painted = np.empty((width // 2, width, 3), dtype=np.uint8)
    for begin in range(0, width // 2, ROWS):
        rows = slice(begin, begin + ROWS)
        light = _sky(yaw, pitch[rows], *(_cleared(noise[rows], yaw, bareness) for noise in (coarse, fine)))
        for hills, line in zip(RANGES, lines, strict=True):
            _cover(light, _hills(hills, coarse[rows], fine[rows]), (line - pitch[rows, np.newaxis]) * (width / 6.3))
        edge = (lines[-1] - np.radians(2.5) - pitch[rows, np.newaxis]) * (width / 40)
        if pitch[rows][-1] < 0:
            meadow = _meadow(yaw, pitch[rows], coarse[rows], fine[rows])
            if surfaces is not None:
                meadow *= surfaces.ground_light(yaw, pitch[rows], EYE_MM)[..., np.newaxis]
            _cover(light, meadow, edge)
        if bareness is not None:
            bareness.paint(light, yaw, pitch[rows], edge, fine[rows])
        painted[rows] = codes_of(light)
    near = []
    for codes, distance_mm in things(seed, fine, EYE_MM, BRIGHTEST):
        if bareness is not None:
            codes[:, bareness.empty(yaw)] = 0
        near.append(layer_of(codes, distance_mm))
    if surfaces is not None:
        near.append(_wall(surfaces, yaw, pitch))
    return Scenery((layer_of(painted), *sorted(near, key=lambda layer: -layer.distance_mm)), BRIGHTEST)


def _wall(surfaces: Surfaces, yaw: Floats, pitch: Floats) -> Layer:
    codes = np.zeros((len(pitch), len(yaw), 4), dtype=np.uint8)
    for begin in range(0, len(pitch), ROWS):
        rows = slice(begin, begin + ROWS)
        light, inside = surfaces.wall_light(yaw, pitch[rows], EYE_MM)
        codes[rows, :, :3] = codes_of(light)
        codes[rows, :, 3] = np.rint(255 * np.clip(inside + np.float32(0.5), 0, 1))
    return layer_of(codes, surfaces.distance_mm)


def _cleared(noise: Floats, yaw: Floats, bareness: Bareness | None) -> Floats:
    """The noise of clouds and haze, calmed to a clear sky in part of the turn."""
    if bareness is None:
        return noise
    cloudy = bareness.cloudy(yaw)
    return noise * cloudy - np.float32(0.3) * (1 - cloudy)


def codes_of(light: Floats) -> Codes:
    """Light (up to BRIGHTEST) as eight-bit codes (IEC 61966-2-1)."""
    share = np.clip(light * np.float32(1 / BRIGHTEST), 0, 1)
    curved = np.where(share <= 0.0031308, 12.92 * share, 1.055 * share ** np.float32(1 / 2.4) - 0.055)
    codes: Codes = np.rint(255 * curved).astype(np.uint8)
    return codes


def _cover(light: Floats, colour: Floats, points_inside: Floats) -> None:
    """Paint `colour` over `light` where `points_inside` is positive; the edge is one point wide."""
    opacity = np.clip(points_inside + np.float32(0.5), 0, 1)[..., np.newaxis]
    light += opacity * (colour - light)


def _sky(yaw: Floats, pitch: Floats, coarse: Floats, fine: Floats) -> Floats:
    height = np.sqrt(np.clip(np.sin(pitch), 0, 1))[:, np.newaxis, np.newaxis]
    low, high = (np.array(colour, dtype=np.float32) for colour in ((0.72, 0.80, 0.88), (0.12, 0.26, 0.62)))
    light = low + height * (high - low)
    light = light * (1 + np.float32(0.12) * fine[..., np.newaxis])
    sun_yaw, sun_pitch = np.radians(SUN_YAW_DEG), np.radians(SUN_PITCH_DEG)
    beside = np.cos(pitch)[:, np.newaxis] * np.cos(sun_pitch) * np.cos(yaw - np.float32(sun_yaw))
    towards = (beside + (np.sin(pitch) * np.sin(sun_pitch))[:, np.newaxis]).astype(np.float32)
    away = np.arccos(np.clip(towards, -1, 1))[..., np.newaxis]
    light += np.exp(-away / np.float32(0.25)) * np.array([0.9, 0.85, 0.7], dtype=np.float32)
    thick = np.clip((coarse + np.float32(0.05)) * 2.2, 0, 1)[..., np.newaxis]
    thick = thick * thick * (3 - 2 * thick) * np.float32(0.92)
    lit = np.float32(1.15) - 0.55 * thick + np.float32(0.35) * fine[..., np.newaxis] + 0.9 * np.exp(-away / 0.35)
    light += thick * (lit * np.array([0.96, 0.97, 1.0], dtype=np.float32) - light)
    light += np.clip((np.float32(0.012) - away) * 2000, 0, 1) * BRIGHTEST
    return np.asarray(light, dtype=np.float32)


def _hills(hills: Range, coarse: Floats, fine: Floats) -> Floats:
    shade = 1 + np.float32(0.35) * coarse + np.float32(hills.grain) * fine
    light = np.array(hills.colour) * np.clip(shade, 0.15, 2)[..., np.newaxis]
    return np.asarray(light, dtype=np.float32)


def _meadow(yaw: Floats, pitch: Floats, coarse: Floats, fine: Floats) -> Floats:
    """Grass, drier in places, and a track that winds past the tripod, on a plane EYE_MM below the camera."""
    grass, dry, earth = (
        np.array(colour, dtype=np.float32) for colour in ((0.12, 0.21, 0.05), (0.36, 0.33, 0.13), (0.33, 0.27, 0.20))
    )
    dryness = np.clip(coarse * 1.1 + 0.35, 0, 1)[..., np.newaxis]
    light = grass + dryness * (dry - grass)
    distance_m = (EYE_MM / 1000 / np.tan(np.maximum(-pitch, 1e-3)))[:, np.newaxis]
    ahead, right = distance_m * np.cos(yaw), distance_m * np.sin(yaw)
    off_track = np.abs(right - 1.4 - 1.2 * np.sin(ahead / 3.5) - 0.25 * coarse)
    bare = np.clip((0.75 - off_track) * 4 + fine, 0, 1)[..., np.newaxis]
    light = light + bare * (earth - light)
    light = light * np.clip(1 + 0.55 * fine + 0.15 * coarse, 0.1, 3)[..., np.newaxis]
    return np.asarray(light, dtype=np.float32)
