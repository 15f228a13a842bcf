"""The sensor: light into the eight bits of a photograph, with clipping and noise.

Noise is that of light itself, whose variance grows with the light, and that of reading the sensor (European Machine
Vision Association, Standard 1288, the linear camera model; cited from memory).
The amounts are our own, about those of a small sensor. The curve is that of sRGB (IEC 61966-2-1).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.scene.lens import Floats

STEPS = 1 << 14  # of the table of the curve, fine enough for every code to be reached


@dataclass(frozen=True, slots=True)
class SensorSpec:
    """Light 1 is `full_well` electrons; reading adds `read_noise` electrons (standard deviation)."""

    full_well: float = 8000.0
    read_noise: float = 8.0


def _curve() -> NDArray[np.uint8]:
    light = np.arange(STEPS + 1) / STEPS
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    codes: NDArray[np.uint8] = np.rint(255 * code).astype(np.uint8)
    return codes


CURVE = _curve()


def develop(light: Floats, exposure: float, sensor: SensorSpec, seed: tuple[int, ...]) -> NDArray[np.uint8]:
    """A photograph of `light` (any shape), exposed `exposure` times as long as the base exposure.

    The same `seed` gives the same noise.
    """
    signal = light * np.float32(exposure)
    noise = np.random.default_rng(seed).standard_normal(signal.shape, dtype=np.float32)
    noise *= np.sqrt(signal * np.float32(1 / sensor.full_well) + np.float32((sensor.read_noise / sensor.full_well) ** 2))
    signal += noise
    np.clip(signal, 0, 1, out=signal)
    signal *= np.float32(STEPS)
    signal += np.float32(0.5)
    return CURVE.take(signal.astype(np.int32))
