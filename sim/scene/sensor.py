"""The sensor: light into the eight bits of a photograph, with clipping and noise.

The noise is that of light itself, whose variance grows with the light, and that of reading the sensor (European Machine
Vision Association, Standard 1288, the linear camera model; cited from memory). The amounts are our own, about those of a
small sensor. The curve is that of sRGB (IEC 61966-2-1).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from sim.scene.lens import Floats

VALUES_AT_ONCE = 1 << 16  # as many as fit into a processor's cache
STEPS = 1 << 14  # of the curve's table, fine enough to reach every code


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


# A normal number for each sixteen-bit number: the middles of 65,536 equally likely parts, out to 4.2 deviations.
NORMAL = ndtri((np.arange(1 << 16) + 0.5) / (1 << 16)).astype(np.float32)


def develop(light: Floats, exposure: float, sensor: SensorSpec, seed: tuple[int, ...]) -> NDArray[np.uint8]:
    """A photograph of `light` (any shape), exposed `exposure` times as long as the base exposure.

    The same `seed` gives the same noise.
    """
    random = np.random.default_rng(seed)
    whole = light.reshape(-1)
    picture = np.empty(whole.shape, dtype=np.uint8)
    for begin in range(0, len(whole), VALUES_AT_ONCE):
        signal = whole[begin : begin + VALUES_AT_ONCE] * np.float32(exposure)
        spread = signal * np.float32(1 / sensor.full_well)
        spread += np.float32((sensor.read_noise / sensor.full_well) ** 2)
        np.sqrt(spread, out=spread)
        spread *= NORMAL.take(random.integers(1 << 16, size=len(signal), dtype=np.uint16))
        signal += spread
        np.clip(signal, 0, 1, out=signal)
        signal *= np.float32(STEPS)
        signal += np.float32(0.5)
        picture[begin : begin + VALUES_AT_ONCE] = CURVE.take(signal.astype(np.int32))
    return picture.reshape(light.shape)
