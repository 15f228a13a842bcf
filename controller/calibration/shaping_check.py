"""Whether shaping works on a head: the swing at the end of a move without and with the shaper, against the prediction.

The same move leaves the same swing. A shaper turns it into the sum of the swings of its impulses, so the share that is
left depends on the shaper, the frequency and the damping alone (`controller.shaping.ringing.left_by_shaper`),
and a little more because the motor moves in steps.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from controller.calibration import damped
from controller.calibration.readings import ReadingsRefused
from controller.calibration.remains import Remains, TooFew, left_of, left_with, without
from controller.calibration.resolution import grid
from controller.calibration.settle import NotRinging, Ringing, fit_ringing
from controller.calibration.settle_moves import MoveReadings
from controller.kit.kit import Head
from controller.shaping.ringing import Mode, band_of, left_by_shaper, left_by_steps, most_left
from protocol.shaper import Shaper

ANOTHER = 0.1  # frequencies that differ by more than this share are two vibrations. Our own choice.
ROUNDS = 3  # of fitting two vibrations in turn; further ones change less than the noise
STRONGER = 1.5  # a scatter that is so many times as large is not that of the sensor. Our own choice.


class ShapingVerdict(StrEnum):
    """Whether shaping works."""

    WORKS = "works"
    NOT_SHOWN = "not shown"
    FAILS = "fails"


class LeftCause(StrEnum):
    """Why more is left than predicted, as far as the readings tell."""

    FREQUENCY = "frequency"
    SECOND = "second vibration"
    SCATTER = "scatter"
    PLAY = "play"


@dataclass(frozen=True, slots=True, eq=False)
class Shaped:
    """What a shaper leaves of the swing. Shares are of the swing without it; `share` has its 95 % interval round it.

    `promised` is the largest share that was predicted, for all that the kit states of the vibration; `expected` that for
    the measured frequency and damping. The readings scatter `scatter_times` as much as those without the shaper.
    `second` is another vibration that shows with the shaper on; `share` includes it.
    """

    read: MoveReadings
    shaper: Shaper
    left: Remains
    share: tuple[float, float, float]
    promised: float
    expected: float
    scatter_times: float
    second: Ringing | None
    verdict: ShapingVerdict
    cause: LeftCause | None


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """One axis at one pitch. `stated` is the vibration as the kit states it; `shaped` is None without a shaped move."""

    read: MoveReadings
    ringing: Ringing
    left: Remains
    stated: Mode
    shaped: Shaped | None


def place_of(
    plain: MoveReadings, shaped: MoveReadings | None, shaper: Shaper | None, stated: Mode | None, by_steps: float = 0.0
) -> Place:
    """Compare the readings after a plain and a shaped move. Raises ReadingsRefused.

    `by_steps` is `share_of_steps`.

    Without a kit (`stated` None), the shaper is judged by the measured vibration, known as a kit's that was not measured.
    """
    try:
        ringing = fit_ringing(plain.time_s, plain.value, plain.factor)
    except NotRinging as error:
        raise ReadingsRefused(f"{plain.name}: {error}.") from None
    left = left_of(ringing)
    if stated is None:
        unknown = Head()
        stated = Mode(ringing.ring_hz, ringing.ring_damping, unknown.ring_hz_within, unknown.ring_damping_within)
    if shaped is None or shaper is None:
        return Place(plain, ringing, left, stated, None)
    return Place(plain, ringing, left, stated, _shaped(plain, shaped, shaper, ringing, left, stated, by_steps))


def _shaped(
    plain: MoveReadings,
    read: MoveReadings,
    shaper: Shaper,
    ringing: Ringing,
    before: Remains,
    stated: Mode,
    by_steps: float,
) -> Shaped:
    step = plain.factor * grid(plain.value / plain.factor, ringing.residual_sd / plain.factor)
    try:
        left = left_with(ringing, read.time_s, read.value, step)
    except TooFew:
        raise ReadingsRefused(f"{read.name}: only {len(read.time_s)} readings; give as many as without it.") from None
    second = _second(read, ringing)
    other = 0.0 if second is None else left_of(second).amplitude
    least = max(before.low, before.amplitude * 1e-3)
    share = (
        (left.low + other) / before.high,
        (left.amplitude + other) / before.amplitude,
        (left.high + other) / least,
    )
    promised = float(left_by_shaper(band_of((stated,)), shaper).max()) + by_steps
    here = left_by_shaper(band_of((_measured(ringing),)), shaper) + by_steps
    verdict = _verdict(share, promised)
    times = left.scatter / max(before.scatter, step / math.sqrt(12), 1e-300)
    cause = None
    if verdict is ShapingVerdict.FAILS:
        cause = _cause(share, stated, ringing, float(here.max()), second, times)
    return Shaped(read, shaper, left, share, promised, float(here.mean()), times, second, verdict, cause)


def share_of_steps(mode: Mode, accel_steps_s2: float) -> float:
    """What the motor's steps leave with any shaper, at most, as a share of the largest swing at this acceleration."""
    band, accel = band_of((mode,)), np.array(accel_steps_s2)
    return float((left_by_steps(band, accel) / most_left(band, accel)).max())


def _verdict(share: Sequence[float], promised: float) -> ShapingVerdict:
    if share[0] > promised:
        return ShapingVerdict.FAILS
    return ShapingVerdict.WORKS if share[2] <= promised else ShapingVerdict.NOT_SHOWN


def _measured(ringing: Ringing) -> Mode:
    u_hz, u_damping, _ = ringing.uncertainties
    within_hz = ringing.half_width(u_hz, ringing.hidden_most[0]) / ringing.ring_hz
    within_damping = ringing.half_width(u_damping, ringing.hidden_most[1]) / ringing.ring_damping
    return Mode(ringing.ring_hz, ringing.ring_damping, min(within_hz, 0.9), min(within_damping, 0.9))


def _second(read: MoveReadings, ringing: Ringing) -> Ringing | None:
    """A vibration of another frequency after the shaped move, once that of `ringing` is taken away.

    Each is fitted to what the other leaves, in turn: the first fit of one takes a little of the other along.
    """
    since, rest = read.time_s - read.time_s[0], without(ringing, read.time_s, read.value)
    for _ in range(ROUNDS):
        scale = max(float(np.std(rest)), 1e-300)
        begin = damped.start(since, (rest - rest.mean()) / scale)
        other = damped.fitted(since, (rest - rest.mean()) / scale, np.ones_like(since), begin)
        swing = damped.values_and_slopes(np.append(other[:4], 0.0), since)[0] * scale
        main = (read.value - swing) - without(ringing, read.time_s, read.value - swing)
        rest = read.value - main
    try:
        found = fit_ringing(read.time_s, rest, read.factor)
    except NotRinging:
        return None
    apart = abs(found.ring_hz / ringing.ring_hz - 1)
    clear = abs(found.ring_hz - ringing.ring_hz) > found.half_width(found.uncertainties[0])
    return found if apart > ANOTHER and clear else None


def _cause(
    share: Sequence[float], stated: Mode, ringing: Ringing, here: float, second: Ringing | None, scatter: float
) -> LeftCause:
    if second is not None:
        return LeftCause.SECOND
    half_hz, half_damping = (ringing.half_width(u) for u in ringing.uncertainties[:2])
    off_hz = abs(ringing.ring_hz - stated.hz) - half_hz > stated.hz_spread * stated.hz
    off_damping = abs(ringing.ring_damping - stated.damping) - half_damping > stated.damping_spread * stated.damping
    if (off_hz or off_damping) and here >= share[0]:
        return LeftCause.FREQUENCY
    return LeftCause.SCATTER if scatter > STRONGER else LeftCause.PLAY
