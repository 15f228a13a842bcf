"""The rules for boards that shape their ramps, since version 1.2."""

from controller.conformance.expectations import (
    ACCEL,
    LATE_MS,
    LATE_SHARE,
    SILENCE_MS,
    bring_to_rest,
    describe,
    expect,
    must,
    refer,
    status,
    wait_end,
)
from controller.conformance.reach import SMALL_STEPS, SPEED
from controller.conformance.talk import NotChecked, Talk
from protocol.messages import Accepted, Arm, Capability, Move, Outcome, Reason, SetShaper
from protocol.ramp import ramp_of
from protocol.shaper import LONGEST_MS, WHOLE, Shaper, set_shaper
from protocol.units import MS, AxisId, CommandId, Steps

HALF = SMALL_STEPS // 2
SHAPER = Shaper(((0, 20_000), (200, 25_536), (400, 20_000)))
WRONG = {
    "shares that do not sum to one": (0, 30_000, 100, 30_000),
    "shares that sum to two": (0, 65_535, 100, 65_535, 200, 2),
    "one impulse": (0, 65_535),
    "a first impulse that is late": (10, 30_000, 100, WHOLE - 30_000),
    "impulses out of order": (0, 20_000, 100, 20_000, 50, 25_536),
    "impulses that are too close": (0, 30_000, 4, WHOLE - 30_000),
    "a delay that is too long": (0, 30_000, 2_001, WHOLE - 30_000),
    "a gap between impulses": (0, 30_000, 0, 0, 100, WHOLE - 30_000),
}


LONG = Shaper(((0, 30_000), (LONGEST_MS, WHOLE - 30_000)))
UNDER_WAY_MS = 400


def _shapes(talk: Talk) -> bool:
    return bool(talk.capabilities & Capability.SHAPER)


def _must_shape(talk: Talk) -> None:
    if not _shapes(talk):
        raise NotChecked("this board does not shape its ramps")


def _raw(talk: Talk, numbers: tuple[int, ...], axis: AxisId = AxisId.PAN) -> SetShaper:
    return SetShaper(talk.next_id(), axis, *numbers, *(0,) * (10 - len(numbers)))


def refused(talk: Talk) -> None:
    """An invalid shaper is refused, and a valid one accepted; a board without shaping refuses all."""
    describe(talk)
    if not _shapes(talk):
        expect(talk, set_shaper(talk.next_id(), AxisId.PAN, SHAPER), Reason.UNKNOWN_KIND)
        return
    for numbers in WRONG.values():
        expect(talk, _raw(talk, numbers), Reason.BAD_VALUE)
    expect(talk, set_shaper(CommandId(0), AxisId.PAN, SHAPER), Reason.BAD_VALUE)
    for shaper in (SHAPER, Shaper()):
        expect(talk, set_shaper(talk.next_id(), AxisId.PAN, shaper), Accepted)


def _arm(talk: Talk, shaper: Shaper) -> None:
    """Find zero, shape both axes, and arm."""
    refer(talk)
    bring_to_rest(talk)
    for axis in AxisId:
        expect(talk, set_shaper(talk.next_id(), axis, shaper), Accepted)
    expect(talk, Arm(talk.next_id(), talk.boot_id, SILENCE_MS), Accepted)


def shaped_move(talk: Talk) -> None:
    """A shaped move ends on its target, later by the delay of its last impulse. Meanwhile no shaper is accepted."""
    _must_shape(talk)
    _arm(talk, SHAPER)
    for target in (HALF, 0):
        before = status(talk)
        way = abs(target - before.pan_steps)
        least_ms = ramp_of(max(0, way - 1), SPEED, ACCEL).duration_ms + SHAPER.duration_ms
        command = Move(talk.next_id(), Steps(target), Steps(target))
        ended = wait_end(talk, command, float(least_ms), float(least_ms))
        must(talk, ended.outcome is Outcome.ARRIVED, f"a shaped Move ended as {ended.outcome.name}")
        there = (ended.status.pan_steps, ended.status.tilt_steps)
        must(talk, there == (target, target), f"a shaped Move ended at {there[0]}, {there[1]}, not at {target}")
    expect(talk, Move(talk.next_id(), Steps(HALF), Steps(HALF)), Accepted)
    expect(talk, set_shaper(talk.next_id(), AxisId.PAN, Shaper()), Reason.BUSY)


def shaped_stop(talk: Talk) -> None:
    """Stop does not wait for a shaper: the head is at rest after a plain ramp down."""
    _must_shape(talk)
    _arm(talk, LONG)
    expect(talk, Move(talk.next_id(), Steps(HALF), Steps(HALF)), Accepted)
    talk.wait_message(lambda *_: False, UNDER_WAY_MS)
    begin, most_ms = talk.port.now(), 1000 * SPEED / ACCEL * LATE_SHARE + LATE_MS
    bring_to_rest(talk)
    took_ms = (talk.port.now() - begin) / MS
    must(talk, took_ms < most_ms, f"after Stop a shaped Move took {took_ms:.0f} ms to end, not below {most_ms:.0f}")
