"""How the camera rings after a motion, as far as it is known: modes with their bands, and what a motion leaves.

A mode is a mass on a damped spring that is driven by the acceleration of the axis. After the last change of
acceleration it swings freely, with the amplitude

    |sum of a_k / w^2 exp(-p (T - t_k))| / sqrt(1 - z^2),  p = z w - i w sqrt(1 - z^2)

for changes a_k at t_k and the end T, with w the natural angular frequency and z the damping ratio (W. Thomson and
M. Dahleh, *Theory of Vibration with Applications*, 5th ed., chapter 4). A ramp over d that takes r to speed up, and slows
down from f on, has four changes of d / (r f). So at its end the sum is d / (r f) |1 - exp(-p r)| |1 - exp(-p f)|. A
shaper multiplies it by |sum of c_k exp(-p (D - t_k))| for its shares c_k at t_k, the last at D.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from protocol.shaper import Shaper

Array = NDArray[np.float64]
HZ_SAMPLES, DAMPING_SAMPLES = 9, 3
RAMP_CHANGES = 4  # of the acceleration, in a plain ramp
# zeta(-1/2, 1/2) = (1 / sqrt(2) - 1) zeta(-1/2), and zeta(-1/2) = -0.2078862249773545 (DLMF 25.11.11 and 25.6).
STAIRS = (1 - math.sqrt(0.5)) * 0.2078862249773545
LEAST_SEEN = 0.25
LEAST_DAMPING, MOST_DAMPING = 1e-4, 0.99


@dataclass(frozen=True, slots=True)
class Mode:
    """One way in which the camera rings: `hz` and `damping` ratio, each known to a share of itself (0.1: within 10 %)."""

    hz: float
    damping: float
    hz_spread: float = 0.0
    damping_spread: float = 0.0


@dataclass(frozen=True, slots=True)
class Band:
    """All that modes may be: arrays (..., n) of n samples each, the rest of the shape for axes, modes and motions.

    `omega` is the natural angular frequency in rad/s, `ratio` the damping ratio. Each sample stands for all frequencies
    within `half_omega` of it.
    """

    omega: Array
    ratio: Array
    half_omega: Array

    @property
    def rate(self) -> Array:
        """How fast a swing dies away, per second."""
        return self.omega * self.ratio

    def of_axis(self, axis: int) -> "Band":
        """The part of a band (axes, ...) that belongs to an axis."""
        return Band(self.omega[axis], self.ratio[axis], self.half_omega[axis])

    @property
    def root(self) -> Array:
        """The damped frequency as a share of the natural one."""
        root: Array = np.sqrt(1 - self.ratio**2)
        return root


def band_of(modes: Sequence[Mode]) -> Band:
    """A band (modes, n). All must be known alike: their spreads are zero together or not at all."""
    omega, ratio, half = (np.array(rows) for rows in zip(*map(_samples, modes), strict=True))
    return Band(omega, ratio, half)


def _samples(mode: Mode) -> tuple[Array, Array, Array]:
    count = HZ_SAMPLES if mode.hz_spread else 1
    hz = mode.hz * np.linspace(1 - mode.hz_spread, 1 + mode.hz_spread, count)
    part = mode.damping_spread
    damping = mode.damping * np.linspace(1 - part, 1 + part, DAMPING_SAMPLES if part else 1)
    damping = np.clip(damping, LEAST_DAMPING, MOST_DAMPING)
    omega, ratio = np.meshgrid(2 * math.pi * hz, damping, indexing="ij")
    half = 2 * math.pi * mode.hz * mode.hz_spread / max(1, count - 1)
    return omega.ravel(), ratio.ravel(), np.full(omega.size, half)


def left_by_ramp(band: Band, way: Array, ramp_s: Array, flat_s: Array) -> Array:
    """Amplitudes (..., n) at the end of plain ramps over `way`, in its unit; 0 where that is 0.

    `ramp_s` is the time of speeding up, `flat_s` that from the beginning to the slowing down. Their shape broadcasts with
    that of the band before its samples. It is the largest within each sample's frequencies, because a long move passes
    through many swings.
    """
    accel = np.divide(np.abs(way), ramp_s * flat_s, out=np.zeros_like(ramp_s), where=ramp_s > 0)
    factors = _farthest(band, ramp_s[..., None]) * _farthest(band, flat_s[..., None])
    amplitudes: Array = accel[..., None] * factors / (band.omega**2 * band.root)
    return amplitudes


def most_left(band: Band, accel: Array) -> Array:
    """The most that any plain ramp with this acceleration can leave: four steps of it."""
    most: Array = RAMP_CHANGES * accel / (band.omega**2 * band.root)
    return most


def _farthest(band: Band, time_s: Array) -> Array:
    """The largest |1 - exp(-p t)| within each sample's frequencies."""
    fade = np.exp(-band.rate * time_s)
    turn = band.omega * band.root * time_s
    from_opposite = np.abs(turn % (2 * math.pi) - math.pi)
    nearest = np.maximum(from_opposite - band.half_omega * time_s, 0.0)
    farthest: Array = np.sqrt(1 + fade**2 + 2 * fade * np.cos(nearest))
    return farthest


def left_by_steps(band: Band, accel_steps_s2: Array) -> Array:
    """The most that the steps of the motor leave of a swing, in steps, if a ramp begins and ends with this acceleration.

    A motor that makes each step half a step early follows s = a t^2 / 2 in stairs. The area between the two, from rest
    on, is sqrt(2 / a) zeta(-1/2, 1/2); the camera feels it as a push and swings by w times as much. Twice that, for both
    ends of the ramp (Hurwitz's zeta function: *NIST Digital Library of Mathematical Functions*, section 25.11).
    """
    most: Array = np.minimum(2 * STAIRS * band.omega * np.sqrt(2 / accel_steps_s2), 1.0)
    return most


def left_by_play(band: Band, play: Array, accel: Array) -> Array:
    """The most that a camera swings, in the unit of `play`, after its head has started late and with the rotor's speed.

    The head misses the first part of the ramp, over `play`: an acceleration of at most `accel`, at its end a change of
    speed of at most sqrt(2 `play` `accel`). Nor can missing a way of `play` leave more than that way.
    """
    speed = np.sqrt(2 * play * accel)
    most: Array = np.minimum(play, speed / band.omega + 2 * accel / band.omega**2) / band.root
    return most


def left_by_shaper(band: Band, shaper: Shaper) -> Array:
    """What a shaper leaves of a swing, at its end, as a share of the plain ramp's at that ramp's end."""
    pole = band.omega * (band.ratio - 1j * band.root)
    ends_s = [(shaper.duration_ms - delay_ms) / 1000 for delay_ms, _ in shaper.weights]
    left: Array = np.abs(sum(share * np.exp(-pole * s) for s, (_, share) in zip(ends_s, shaper.weights, strict=True)))
    return left


def seen(omega: Array, exposed_s: float) -> Array:
    """How far a swing of amplitude 1 can move during an exposure, peak to peak: 2 sin(w t / 2), at most 2.

    Not less than LEAST_SEEN: a short exposure within a wide swing is sharp, but looks elsewhere than the next one.
    """
    moved: Array = 2 * np.sin(np.minimum(omega * exposed_s, math.pi) / 2)
    return np.maximum(moved, LEAST_SEEN)
