"""How the camera rings after a motion, as far as it is known: modes with their bands, and what a motion leaves.

A mode is a mass on a damped spring that is driven by the acceleration of the axis. After the last change of
acceleration it swings freely, with the amplitude

    |sum of a_k / w^2 exp(-(z w - i w_d) (T - t_k))| / sqrt(1 - z^2)

for changes a_k at t_k and the end T, with w the natural and w_d = w sqrt(1 - z^2) the damped angular frequency and z the
damping ratio (W. Thomson and M. Dahleh, *Theory of Vibration with Applications*, 5th ed., chapter 4).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
HZ_SAMPLES, DAMPING_SAMPLES = 9, 3
LEAST_DAMPING, MOST_DAMPING = 1e-4, 0.99


@dataclass(frozen=True, slots=True)
class Mode:
    """One way in which the camera rings: `hz` and `damping` ratio, each known to a share of itself (0.1: within 10 %).

    `gain` is how much of the axis's motion it takes part in.
    """

    hz: float
    damping: float
    hz_spread: float = 0.0
    damping_spread: float = 0.0
    gain: float = 1.0

    def band(self) -> tuple[Array, Array]:
        """Samples of all that it may be: natural angular frequencies (n,) in rad/s and damping ratios (n,)."""
        hz = self.hz * np.linspace(1 - self.hz_spread, 1 + self.hz_spread, HZ_SAMPLES if self.hz_spread else 1)
        part = self.damping_spread
        damping = self.damping * np.linspace(1 - part, 1 + part, DAMPING_SAMPLES if part else 1)
        damping = np.clip(damping, LEAST_DAMPING, MOST_DAMPING)
        omega, ratio = np.meshgrid(2 * math.pi * hz, damping, indexing="ij")
        return omega.ravel(), ratio.ravel()


def left(mode: Mode, changes: Sequence[tuple[float, float]], end_s: float) -> Array:
    """Amplitudes (n,) that are left at `end_s` for each sample of the mode's band, in the unit of the way.

    `changes` are (seconds, change of acceleration in that unit/s^2).
    """
    omega, ratio = mode.band()
    if not changes:
        return np.zeros(len(omega))
    at_s, change = np.array(changes).T
    root = np.sqrt(1 - ratio**2)
    pole = (ratio * omega - 1j * omega * root)[:, None]
    swing = np.abs(np.exp(-pole * (end_s - at_s)) @ change)
    amplitudes: Array = mode.gain * swing / (omega**2 * root)
    return amplitudes


def seen(omega: Array, exposed_s: float) -> Array:
    """How far a swing of amplitude 1 can move during an exposure, peak to peak: 2 sin(w t / 2), at most 2."""
    moved: Array = 2 * np.sin(np.minimum(omega * exposed_s, math.pi) / 2)
    return moved


def settle_s(modes: Sequence[Mode], lefts: Sequence[Array], exposed_s: float, still: float) -> float:
    """Seconds to wait after the end until an exposure of `exposed_s` sees at most `still`, in the unit of `lefts`.

    Several modes share `still` evenly. A swing dies away as exp(-z w t).
    """
    waits = [0.0]
    for mode, amplitudes in zip(modes, lefts, strict=True):
        omega, ratio = mode.band()
        too_much = amplitudes * seen(omega, exposed_s) * len(modes) / still
        waits.append(float(np.max(np.log(np.maximum(too_much, 1.0)) / (ratio * omega))))
    return max(waits)
