"""The rules for boards that shape their ramps, since version 1.2; a board that does not has nothing to keep."""

from controller.conformance.expectations import ACCEL, bring_to_rest, describe, expect, must, refer, status, wait_end
from controller.conformance.reach import SMALL_STEPS, SPEED
from controller.conformance.talk import Talk
from protocol.messages import Accepted, Arm, Capability, Move, Outcome, Reason, SetShaper
from protocol.ramp import ramp_of
from protocol.shaper import WHOLE, Shaper, set_shaper
from protocol.units import AxisId, CommandId, Steps

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


def _shapes(talk: Talk) -> bool:
    return bool(talk.capabilities & Capability.SHAPER)


def _raw(talk: Talk, numbers: tuple[int, ...], axis: AxisId = AxisId.PAN) -> SetShaper:
    return SetShaper(talk.next_id(), axis, *numbers, *(0,) * (10 - len(numbers)))


def refused(talk: Talk) -> None:
    """What is no shaper is refused, and so is one for an axis that nobody has described."""
    if not _shapes(talk):
        return
    describe(talk)
    for numbers in WRONG.values():
        expect(talk, _raw(talk, numbers), Reason.BAD_VALUE)
    expect(talk, set_shaper(CommandId(0), AxisId.PAN, SHAPER), Reason.BAD_VALUE)
    for shaper in (SHAPER, Shaper()):
        expect(talk, set_shaper(talk.next_id(), AxisId.PAN, shaper), Accepted)


def shaped_move(talk: Talk) -> None:
    """A shaped move ends on its target, and takes longer by the delay of its last impulse; at rest only is it set."""
    if not _shapes(talk):
        return
    refer(talk)
    bring_to_rest(talk)
    for axis in AxisId:
        expect(talk, set_shaper(talk.next_id(), axis, SHAPER), Accepted)
    expect(talk, Arm(talk.next_id(), talk.boot_id, 2000), Accepted)
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
