"""What any board refuses and why (protocol/SPEC.md, sections 3 to 5): one table, for the simulated and the real board."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

from protocol.codec import PROTOCOL_VERSION
from protocol.messages import (
    Accepted,
    Arm,
    BoardState,
    Expose,
    Hello,
    Move,
    Reason,
    Reference,
    Refused,
    Reply,
    Request,
    SetAxis,
    SetShaper,
    Status,
    Stop,
)
from protocol.shaper import CLOSEST_MS, LONGEST_MS
from protocol.units import AxisId, BootId, CommandId, Steps

SPEED, ACCEL, LIMIT, SILENCE_MS = 1000, 2000, 9000, 5000
TOO_FAST = 100_000  # for any board
RESTING = {BoardState.DISARMED, BoardState.READY}


class Spoken(Protocol):
    """A board that was greeted and answers."""

    @property
    def boot_id(self) -> BootId:
        """The boot id that it reported."""

    def next_id(self) -> CommandId:
        """An id that no command has used yet."""

    def ask(self, request: Request) -> Reply:
        """Send a request and return its reply."""

    def order(self, request: Request) -> None:
        """Send a request, which must be accepted."""

    def run(self, milliseconds: int) -> None:
        """Let time pass."""

    def status(self) -> Status:
        """The status that it reports."""

    def configure(self) -> None:
        """Describe both axes."""

    def arm(self) -> None:
        """Arm it."""

    def make_ready(self) -> None:
        """Configure, arm and reference it."""


def axis(board: Spoken) -> SetAxis:
    return SetAxis(board.next_id(), AxisId.PAN, Steps(-LIMIT), Steps(LIMIT), SPEED, ACCEL)


def shaper(board: Spoken) -> SetShaper:
    """Three impulses, for pan."""
    return SetShaper(board.next_id(), AxisId.PAN, 0, 20_000, 100, 25_536, 200, 20_000, 0, 0, 0, 0)


def no_shaper(board: Spoken) -> SetShaper:
    return SetShaper(board.next_id(), AxisId.PAN, *(0,) * 10)


def shaper_of_tilt(board: Spoken) -> SetShaper:
    return replace(shaper(board), axis=AxisId.TILT)


def move(board: Spoken, pan: int = 10, tilt: int = 20) -> Move:
    return Move(board.next_id(), Steps(pan), Steps(tilt))


def expose(board: Spoken) -> Expose:
    return Expose(board.next_id(), 0, 0, 50, 100, 1000)


def reference(board: Spoken) -> Reference:
    return Reference(board.next_id(), 500, 500, 10)


def arm(board: Spoken) -> Arm:
    return Arm(board.next_id(), board.boot_id, SILENCE_MS)


def nothing(_: Spoken) -> None:
    """Leave the board as it is after its start."""


def half_configured(board: Spoken) -> None:
    board.order(axis(board))


def configured(board: Spoken) -> None:
    board.configure()


def armed(board: Spoken) -> None:
    board.configure()
    board.arm()


def ready(board: Spoken) -> None:
    board.make_ready()


def moving(board: Spoken) -> None:
    board.make_ready()
    board.order(move(board, 5000, 0))


def referencing(board: Spoken) -> None:
    board.configure()
    board.arm()
    board.order(reference(board))


def exposing(board: Spoken) -> None:
    board.make_ready()
    board.order(expose(board))


def stopping(board: Spoken) -> None:
    """In the middle of a move, which takes half a second to come to rest."""
    moving(board)
    board.run(700)
    assert board.ask(Stop()) == Accepted()


Begin = Callable[[Spoken], None]
Make = Callable[[Spoken], Request]


@dataclass(frozen=True, slots=True)
class Refusal:
    """A board in a certain state refuses a request for a reason."""

    begin: Begin
    request: Make
    reason: Reason
    name: str

    def check(self, board: Spoken) -> None:
        """Check that the request is refused, and that only what depends on time has changed."""
        self.begin(board)
        before = board.status()
        assert board.ask(self.request(board)) == Refused(self.reason)
        after = board.status()
        gone_on = replace(before, clock_ms=after.clock_ms)
        if before.state not in RESTING:
            gone_on = replace(gone_on, pan_steps=after.pan_steps, tilt_steps=after.tilt_steps)
        assert after == gone_on


def _plain(begin: Begin, reason: Reason, *requests: Make) -> list[Refusal]:
    return [Refusal(begin, make, reason, f"{begin.__name__}, {make.__name__}") for make in requests]


def _spoilt(begin: Begin, make: Callable[[Spoken], Request], **wrong: int) -> Refusal:
    """The request with one invalid value."""
    name = f"{begin.__name__}, {make.__name__} with {wrong}"
    return Refusal(begin, lambda board: replace(make(board), **wrong), Reason.BAD_VALUE, name)  # type: ignore[arg-type]


def _beyond(pan: int, tilt: int) -> Refusal:
    return Refusal(ready, lambda board: move(board, pan, tilt), Reason.OUT_OF_LIMITS, f"ready, move to {pan} {tilt}")


def other_version(_: Spoken) -> Hello:
    return Hello(PROTOCOL_VERSION.major + 1, 0, 1)


def arm_of_another_boot(board: Spoken) -> Arm:
    return Arm(board.next_id(), BootId(board.boot_id ^ 1), SILENCE_MS)


BAD_AXES: tuple[dict[str, int], ...] = (
    {"speed_steps_s": 0},
    {"speed_steps_s": TOO_FAST},
    {"accel_steps_s2": 0},
    {"min_steps": LIMIT},
    {"min_steps": LIMIT + 1},
    {"command_id": 0},
)
BAD_REFERENCES: tuple[dict[str, int], ...] = (
    {"creep_divisor": 0},
    {"pan_search_steps_s": 0},
    {"tilt_search_steps_s": 0},
)
TOO_FAST_REFERENCES: tuple[dict[str, int], ...] = (  # for an axis that was described as slower
    {"pan_search_steps_s": SPEED + 1},
    {"tilt_search_steps_s": SPEED + 1},
)
BAD_SHAPERS: tuple[dict[str, int], ...] = (  # in place of one value of three impulses of 0, 100 and 200 ms
    {"share_2": 25_535},  # they sum to less than one
    {"share_2": 25_537},  # to more
    {"share_4": 1, "delay_4_ms": 300},
    {"share_1": 65_535, "share_2": 65_535, "share_3": 2},  # to two
    {"share_1": 0, "share_2": 45_536},  # an impulse without a share
    {"share_1": 65_535, "share_2": 0, "delay_2_ms": 0, "share_3": 0, "delay_3_ms": 0},  # one impulse
    {"delay_1_ms": 1},  # the first one late
    {"delay_2_ms": CLOSEST_MS - 1},
    {"delay_3_ms": 100 + CLOSEST_MS - 1},
    {"delay_3_ms": 100},
    {"delay_2_ms": 200, "delay_3_ms": 100},  # not in order
    {"delay_3_ms": LONGEST_MS + 1},
    {"delay_3_ms": 65_535},
    {"share_2": 0, "delay_2_ms": 0, "share_1": 45_536},  # a gap
    {"share_3": 0, "delay_3_ms": 0, "share_4": 20_000, "delay_4_ms": 300},
    {"delay_4_ms": 1},  # an unused impulse that is not all zero
    {"delay_5_ms": 300},
    {"command_id": 0},
)
OTHERS_BAD: tuple[tuple[Callable[[Spoken], Request], dict[str, int]], ...] = (
    (arm, {"silence_ms": 0}),
    (arm, {"command_id": 0}),
    (expose, {"press_ms": 0}),
    (expose, {"command_id": 0}),
    (move, {"command_id": 0}),
)
REFUSALS: tuple[Refusal, ...] = (
    *_plain(nothing, Reason.VERSION, other_version),
    *_plain(nothing, Reason.NOT_CONFIGURED, arm),
    *_plain(half_configured, Reason.NOT_CONFIGURED, arm),
    *_plain(nothing, Reason.NOT_CONFIGURED, shaper, no_shaper, shaper_of_tilt),
    *_plain(half_configured, Reason.NOT_CONFIGURED, shaper_of_tilt),
    *(
        refusal
        for begin in (moving, referencing, exposing, stopping)
        for refusal in _plain(begin, Reason.BUSY, shaper, no_shaper)
    ),
    *_plain(configured, Reason.NOT_ARMED, move, expose, reference),
    *_plain(configured, Reason.WRONG_BOOT, arm_of_another_boot),
    *_plain(armed, Reason.BUSY, axis),
    *_plain(armed, Reason.UNKNOWN_POSITION, move),
    *_plain(moving, Reason.BUSY, move, expose, reference, arm, axis),
    *(_beyond(*at) for at in ((LIMIT + 1, 0), (-LIMIT - 1, 0), (0, LIMIT + 1), (0, -LIMIT - 1))),
    # Values are checked before the state: a disarmed board refuses them for the same reason as an armed one.
    *(_spoilt(begin, axis, **wrong) for begin in (nothing, configured, ready) for wrong in BAD_AXES),
    *(_spoilt(begin, reference, **wrong) for begin in (nothing, configured, ready) for wrong in BAD_REFERENCES),
    *(_spoilt(begin, shaper, **wrong) for begin in (nothing, ready, moving) for wrong in BAD_SHAPERS),
    *(_spoilt(begin, reference, **wrong) for begin in (configured, ready) for wrong in TOO_FAST_REFERENCES),
    *(_spoilt(begin, make, **wrong) for begin in (nothing, configured, ready) for make, wrong in OTHERS_BAD),
)
