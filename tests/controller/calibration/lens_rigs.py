"""Simulated lenses, marks and vibrations with known truth: is the truth within the stated 95 % interval?

Each case returns whether each interval contained its truth, and raises `Refused` if the procedure refused in a sentence.
In HOLDING everything is as the procedure assumes or as its options state. In STRAINED something is not.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from controller.calibration.finding import coverage_factor
from controller.calibration.lens_terms import PupilPlace
from controller.calibration.parallax import Scene, TypedShift, typed_offset_mm
from controller.calibration.remains import left_of, left_with
from controller.calibration.ring import ON_AXIS, NotClosed, close_ring
from controller.calibration.settle import NotRinging, fit_ringing, swing_px, wait_for
from controller.calibration.turning import NoOverlap
from controller.calibration.views import NearMark, far_pair, seen_offset_mm
from controller.program.timing import ring_down_s
from tests.controller.calibration.pictured import turned
from tests.controller.calibration.rigs import Rng
from tests.controller.calibration.ringed import STEPS_PER_DEGREE, RingRig, bent_by

Array = NDArray[np.float64]
Case = Callable[[Rng], list[bool]]


def holds(value: float, u: float, freedom: float, truth: float) -> bool:
    """Whether the stated interval contains the truth."""
    return abs(value - truth) <= coverage_factor(freedom) * u


class Refused(Exception):
    """The procedure refused the readings."""


def ring(rng: Rng, rig: Callable[[Rng, RingRig], RingRig], standing: PupilPlace = ON_AXIS) -> list[bool]:
    """Steps per degree and focal length from 7 to 9 pictures; the focal length is known to half a per cent before."""
    plain = RingRig(
        focal_mm=rng.uniform(18, 22),
        count=int(rng.integers(7, 10)),
        noise_px=rng.uniform(0.1, 0.5),
        points=50,
        missed_deg=float(rng.choice([0.0, 0.002, 0.01, 0.05])),
    )
    true = rig(rng, plain)
    try:
        pairs, expected = true.pairs(rng), true.expected.scaled(rng.uniform(0.995, 1.005))
        found = close_ring(pairs, true.steps, expected, standing=standing)
    except (NotClosed, NoOverlap):
        raise Refused from None
    if found.slip.seen or found.missed_deg > 0.25 or max(turn.rms_px for turn in found.turns) > 3.0:
        raise Refused
    return [
        holds(found.steps_per_degree, found.u_steps_per_degree, found.steps_freedom, STEPS_PER_DEGREE),
        holds(found.camera.focal_px, found.u_focal_px, found.focal_freedom, true.expected.focal_px),
    ]


def lens_as_usual(rng: Rng, rig: RingRig) -> RingRig:
    """Distortion and a displaced axis, drawn from the prior."""
    bent = bent_by(rig, rng.normal(0, 0.03))
    return replace(bent, aside_px=tuple(rng.normal(0, 10, 2)), pitch_deg=float(rng.choice([0.0, 30.0])))


def lens_at_its_worst(rng: Rng, rig: RingRig) -> RingRig:
    """Barrel distortion of 6 %, half of it corrected by the next term, and an axis 10 px off the middle in both
    directions.
    """
    bent = bent_by(rig, -0.06)
    return replace(bent, k2=0.03 * (bent.k1 / 0.06) ** 2, aside_px=tuple(rng.choice([-10.0, 10.0], 2)))


def lens_off_its_point(rng: Rng, rig: RingRig) -> RingRig:
    return replace(rig, pupil_mm=15.0, ground=bool(rng.integers(2)))


def head_that_slips(rng: Rng, rig: RingRig) -> RingRig:
    return replace(rig, slip_deg=float(rng.choice([0.05, 0.2])), slip_at=int(rng.integers(2, rig.count - 1)))


def typed_marks(rng: Rng, *, distortion: float | None = None) -> list[bool]:
    """Marks lined up by eye, and their shift read to a whole pixel, with a lens that may be beside the axis.

    Drawn in the plane, ray by ray: see `seen_px`. Of the far mark only a least distance is known.
    """
    offset, aside = rng.uniform(-60, 60), rng.normal(0, 1)
    near, angle = rng.uniform(500, 3000), math.radians(rng.uniform(15, 40) * rng.choice([-1, 1]))
    least = near * rng.uniform(5, 50)
    far = least / rng.uniform(1e-6, 1)
    focal = rng.uniform(14, 50) / 5.9 * 1000
    bent = rng.normal(0, 0.02) if distortion is None else distortion
    toward = math.atan2(-aside, near - offset) - rng.normal(0, 1) / focal  # the far mark, lined up by eye from the pupil
    along = math.sqrt(far**2 - (offset * math.sin(toward) - aside * math.cos(toward)) ** 2) - offset * math.cos(toward)
    far_mark = (aside + along * math.sin(toward), offset + along * math.cos(toward))

    def seen_px(mark: tuple[float, float]) -> float:
        right = mark[0] * math.cos(angle) + mark[1] * math.sin(angle)
        ahead = mark[1] * math.cos(angle) - mark[0] * math.sin(angle)
        tangent = (right - aside) / (ahead - offset)
        return focal * tangent * (1 + bent * (tangent / math.tan(angle)) ** 2)

    shift = seen_px((0.0, near)) - seen_px(far_mark) + rng.normal(0, 1)
    typed = TypedShift(math.degrees(angle) + rng.normal(0, 0.1), float(round(shift)))
    scene = Scene(near * (1 + rng.normal(0, 0.005)), far_at_least_mm=least)
    try:
        value, u, _ = typed_offset_mm(typed, scene, focal * (1 + rng.normal(0, 0.01)), 0.01)
    except ValueError:
        raise Refused from None
    return [holds(value, u, math.inf, offset)]


def seen_marks(rng: Rng, *, distortion: float | None = None, aside_px: float | None = None) -> list[bool]:
    """A near mark in two pictures, and far points at one distance of which only a lower bound is known."""
    least = rng.uniform(15_000, 60_000)
    plain = RingRig(
        focal_mm=rng.uniform(22, 26),
        noise_px=rng.uniform(0.1, 0.4),
        points=120,
        pupil_mm=rng.uniform(-40, 40),
        far_per_mm=rng.uniform(0, 1) / least,
        aside_px=tuple(rng.normal(0, 10, 2) if aside_px is None else rng.choice([-aside_px, aside_px], 2)),
    )
    rig = bent_by(plain, rng.normal(0, 0.03) if distortion is None else distortion)
    camera, u_mark = rig.expected, 0.1
    middle, half = rng.uniform(-3, 3), rng.uniform(18, 25)
    near, up = rng.uniform(600, 2000), rng.uniform(-30, 30)
    places = []
    for angle in (math.radians(middle + half), math.radians(middle - half)):
        mark = np.array([near * math.sin(angle), up, near * math.cos(angle) - rig.pupil_mm])
        (place,) = rig.shown(camera.pixels(mark[np.newaxis] / np.linalg.norm(mark)))
        places.append(place + np.array([rng.normal(0, u_mark / math.sqrt(2)), 0.0]))
    points = rig.pair(rng, turned(2 * half))
    scene = Scene(near * (1 + rng.normal(0, 0.005)), far_at_least_mm=least)
    pair = far_pair(points, camera.scaled(1 + rng.normal(0, 0.01)), 0.01)
    value, u, _ = seen_offset_mm(points, pair, NearMark(places[0], places[1], u_mark, 0.0), scene, 1.0)
    return [holds(value, u, math.inf, rig.pupil_mm)]


def ringing(
    rng: Rng,
    step_share: float = 0.0,
    jitter_s: float = 0.0,
    second: tuple[float, float] | None = None,
    close: bool = False,
) -> list[bool]:
    """Frequency, damping, amplitude and the wait: those of a single vibration, or of the larger of two close ones.

    `step_share` is the sensor's grid as a share of the amplitude, `jitter_s` the scatter of the readings' times. `second`
    is the range of another vibration's size as a share of the main one. Its frequency is 1.3 to 4 times the main one, or
    within 30 % of it, to either side (`close`).
    """
    hz, damping, amplitude = rng.uniform(2, 15), rng.uniform(0.01, 0.15), 10 ** rng.uniform(-2, 2)
    time = np.arange(0, rng.uniform(5, 12) / hz, 1 / (hz * rng.uniform(10, 25)))
    taken = np.maximum(time + rng.normal(0, jitter_s, len(time)), 0.0)
    value = 3.1 * amplitude + swing(taken, hz, damping, amplitude, rng.uniform(0, 2 * math.pi))
    if second is not None:
        times = rng.uniform(1.02, 1.3) ** rng.choice([-1, 1]) if close else rng.uniform(1.3, 4)
        other = (hz * times, rng.uniform(0.01, 0.15), amplitude * rng.uniform(*second))
        value += swing(taken, *other, rng.uniform(0, 2 * math.pi))
    value += rng.normal(0, amplitude * rng.uniform(0.005, 0.08), len(time))
    step = step_share * amplitude if step_share else 1.0
    try:
        found = fit_ringing(time, np.round(value / step) * step if step_share else value, step)
    except NotRinging:
        raise Refused from None
    scale, shutter = 20 / amplitude, rng.uniform(0.001, 0.1)
    wait = wait_for(found, scale, shutter, 0.25)
    true_wait = ring_down_s(swing_px(20.0, hz, shutter), 0.25, hz, damping)
    got = (found.ring_hz, found.ring_damping, found.amplitude, wait.wait_s)
    spread, true = (*found.uncertainties, wait.u_wait_s), (hz, damping, amplitude, true_wait)
    hidden = (*found.hidden_most, wait.hidden_s) if close else (0.0,) * 4
    return [abs(g - t) <= found.half_width(u, h) for g, u, h, t in zip(got, spread, hidden, true, strict=True)]


def shaping(rng: Rng, step_share: float = 0.0, jitter_s: float = 0.0) -> list[bool]:
    """What is left at the end of a move, without and with a shaper, and its share.

    The readings begin up to a swing after the end. `step_share` and `jitter_s` as for `ringing`.
    """
    hz, damping, amplitude = rng.uniform(2, 15), rng.uniform(0.01, 0.15), 10 ** rng.uniform(-2, 2)
    left, noise = amplitude * 10 ** rng.uniform(-4, -0.3), amplitude * rng.uniform(0.002, 0.05)
    time = rng.uniform(0, 1) / hz + np.arange(0, rng.uniform(5, 12) / hz, 1 / (hz * rng.uniform(10, 25)))
    step = step_share * amplitude if step_share else 1.0
    values = []
    for size in (amplitude, left):
        taken = time + rng.normal(0, jitter_s, len(time))
        value = 3.1 * amplitude + swing(taken, hz, damping, size, rng.uniform(0, 2 * math.pi))
        value += rng.normal(0, noise, len(time))
        values.append(np.round(value / step) * step if step_share else value)
    try:
        found = fit_ringing(time, values[0], step)
    except NotRinging:
        raise Refused from None
    before = left_of(found)
    after = left_with(found, time, values[1], step if step_share else 0.0)
    share = left / amplitude
    return [
        before.low <= amplitude <= before.high,
        after.low <= left <= after.high,
        after.low / before.high <= share <= after.high / max(before.low, 1e-300),
    ]


def swing(time_s: Array, hz: float, damping: float, amplitude: float, phase: float) -> Array:
    """A decaying vibration (W. Thomson and M. Dahleh, Theory of Vibration, 5th ed., 2.6)."""
    w = 2 * math.pi * hz
    turning = w * math.sqrt(1 - damping**2) * time_s + phase
    return np.asarray(amplitude * np.exp(-damping * w * time_s) * np.cos(turning))


HOLDING: dict[str, Case] = {
    "ring, lens distorts, axis aside": partial(ring, rig=lens_as_usual),
    "parallax, typed": typed_marks,
    "parallax, two pictures": seen_marks,
    "settle": ringing,
    "settle, grid of a sixteenth": partial(ringing, step_share=1 / 16),
    "shaping": shaping,
}
STRAINED: dict[str, Case] = {
    "ring, two kinds of distortion": partial(ring, rig=lens_at_its_worst),
    "ring, pupil 15 mm off": partial(ring, rig=lens_off_its_point, standing=PupilPlace(10.0, 10_000.0)),
    "ring, slip of 0.05 or 0.2°": partial(ring, rig=head_that_slips),
    "parallax typed, distortion 2 %": partial(typed_marks, distortion=-0.02),
    "parallax pictures, distortion 3 %, axis aside": partial(seen_marks, distortion=-0.03, aside_px=10.0),
    "settle, grid of half the swing": partial(ringing, step_share=0.5),
    "settle, times off by 2 ms": partial(ringing, jitter_s=0.002),
    "shaping, grid of a sixteenth": partial(shaping, step_share=1 / 16),
    "shaping, times off by 2 ms": partial(shaping, jitter_s=0.002),
    "settle, a second vibration": partial(ringing, second=(0.05, 0.8)),
    "settle, a small second one within 30 %": partial(ringing, second=(0.05, 0.2), close=True),
    "settle, a large second one within 30 %": partial(ringing, second=(0.2, 0.8), close=True),
}


def share_held(case: Case, rigs: int) -> tuple[tuple[float, ...], float]:
    """The share of rigs whose truth is in the interval, for each quantity, and the share that was refused."""
    hits: list[list[bool]] = []
    for seed in range(rigs):
        try:
            hits.append(case(np.random.default_rng(seed)))
        except Refused:
            continue
    held = np.mean(hits, axis=0) if hits else np.ones(1)
    return tuple(float(share) for share in held), 1 - len(hits) / rigs
