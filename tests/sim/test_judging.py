"""Which refusal comes first if a command has several errors (protocol/SPEC.md, section 5)."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import pytest

from protocol.messages import Accepted, Arm, BoardState, Command, Expose, Move, Reason, Reference, Refused, SetAxis, Stop
from protocol.shaper import Shaper, set_shaper
from protocol.units import AxisId, BootId, CommandId, Steps
from sim.judging import JudgingState, refusal
from tests.sim.bench import ACCEL, LIMIT, MAX_RATE, SILENCE_MS, SPEED, Bench

BOOT = BootId(77)
SETTINGS = {name: SetAxis(CommandId(1), name, Steps(-LIMIT), Steps(LIMIT), SPEED, ACCEL) for name in AxisId}
READY = JudgingState(BoardState.READY, armed=True, known=True, boot_id=BOOT, settings=SETTINGS, max_step_rate=MAX_RATE)
DISARMED = replace(READY, state=BoardState.DISARMED, armed=False)

AXIS = replace(SETTINGS[AxisId.PAN], command_id=CommandId(9))
SHAPER = set_shaper(CommandId(9), AxisId.PAN, Shaper(((0, 20_000), (100, 45_536))))
ARM = Arm(CommandId(9), BOOT, SILENCE_MS)
REFERENCE = Reference(CommandId(9), SPEED, SPEED, 1)
MOVE = Move(CommandId(9), Steps(LIMIT), Steps(-LIMIT))
EXPOSE = Expose(CommandId(9), 0, 0, 0, 1, 0)
COMMANDS: list[tuple[Command, JudgingState]] = [
    (AXIS, DISARMED),
    (SHAPER, DISARMED),
    (SHAPER, READY),
    (ARM, DISARMED),
    (ARM, READY),
    (REFERENCE, READY),
    (MOVE, READY),
    (EXPOSE, READY),
]

# Possible errors: in the command's fields, or from the board's state; the reasons in the order of section 5.
Fault = tuple[Reason, dict[str, object], dict[str, object]]
NO_ID: Fault = (Reason.BAD_VALUE, {"command_id": CommandId(0)}, {})
UNARMED: Fault = (Reason.NOT_ARMED, {}, {"armed": False})
BUSY: Fault = (Reason.BUSY, {}, {"state": BoardState.MOVING})
UNKNOWN: Fault = (Reason.UNKNOWN_POSITION, {}, {"known": False})
TOO_FAR: Fault = (Reason.OUT_OF_LIMITS, {"tilt_steps": Steps(LIMIT + 1)}, {})
NO_PATIENCE: Fault = (Reason.BAD_VALUE, {"silence_ms": 0}, {})
OTHER_BOOT: Fault = (Reason.WRONG_BOOT, {"boot_id": BootId(78)}, {})
HALF_TOLD: Fault = (Reason.NOT_CONFIGURED, {}, {"settings": {AxisId.PAN: SETTINGS[AxisId.PAN]}})
NOT_TOLD: Fault = (Reason.NOT_CONFIGURED, {}, {"settings": {AxisId.TILT: SETTINGS[AxisId.TILT]}})
NO_SHAPER: Fault = (Reason.BAD_VALUE, {"share_1": 20_001}, {})
NO_PRESS: Fault = (Reason.BAD_VALUE, {"press_ms": 0}, {})
NO_CREEP: Fault = (Reason.BAD_VALUE, {"creep_divisor": 0}, {})
NO_SPEED: Fault = (Reason.BAD_VALUE, {"speed_steps_s": 0}, {})
NO_ROOM: Fault = (Reason.BAD_VALUE, {"min_steps": Steps(LIMIT)}, {})

FAULTS: list[tuple[Command, JudgingState, tuple[Fault, ...]]] = [
    (AXIS, DISARMED, (NO_ID, NO_SPEED, NO_ROOM, BUSY)),
    (SHAPER, DISARMED, (NO_ID, NO_SHAPER, BUSY, NOT_TOLD)),
    (SHAPER, READY, (NO_ID, NO_SHAPER, BUSY, NOT_TOLD)),
    (ARM, DISARMED, (NO_ID, NO_PATIENCE, BUSY, OTHER_BOOT, HALF_TOLD)),
    (REFERENCE, READY, (NO_ID, NO_CREEP, UNARMED, BUSY)),
    (MOVE, READY, (NO_ID, UNARMED, BUSY, UNKNOWN, TOO_FAR)),
    (EXPOSE, READY, (NO_ID, NO_PRESS, UNARMED, BUSY)),
]


@pytest.mark.parametrize(("command", "standing"), COMMANDS)
def test_nothing_wrong_nothing_refused(command: Command, standing: JudgingState) -> None:
    assert refusal(command, standing) is None


@pytest.mark.parametrize(("command", "standing", "faults"), FAULTS, ids=lambda given: type(given).__name__)
def test_of_several_faults_the_first_is_told(command: Command, standing: JudgingState, faults: tuple[Fault, ...]) -> None:
    for count in range(1, len(faults) + 1):
        for chosen in combinations(faults, count):
            wrong, badly = command, standing
            for _, fields, state in chosen:
                wrong = replace(wrong, **fields)  # type: ignore[arg-type]
                badly = replace(badly, **state)  # type: ignore[arg-type]
            assert refusal(wrong, badly) is chosen[0][0], chosen


@pytest.mark.parametrize(
    ("command", "wrong"),
    [
        (AXIS, {"speed_steps_s": MAX_RATE + 1}),
        (AXIS, {"accel_steps_s2": 0}),
        (AXIS, {"min_steps": Steps(LIMIT + 1)}),
        (REFERENCE, {"pan_search_steps_s": 0}),
        (REFERENCE, {"tilt_search_steps_s": 0}),
        (REFERENCE, {"pan_search_steps_s": SPEED + 1}),
        (REFERENCE, {"tilt_search_steps_s": SPEED + 1}),
    ],
)
def test_values_that_make_no_sense(command: Command, wrong: dict[str, int]) -> None:
    standing = DISARMED if command is AXIS else READY
    assert refusal(replace(command, **wrong), standing) is Reason.BAD_VALUE  # type: ignore[arg-type]


def test_the_fastest_values_that_do() -> None:
    assert refusal(replace(AXIS, speed_steps_s=MAX_RATE, min_steps=Steps(LIMIT - 1)), DISARMED) is None
    assert refusal(replace(REFERENCE, tilt_search_steps_s=1), READY) is None


@pytest.mark.parametrize("state", BoardState)
def test_the_states_in_which_the_board_is_busy(state: BoardState) -> None:
    resting = state in {BoardState.DISARMED, BoardState.READY}
    assert (refusal(ARM, replace(DISARMED, state=state)) is Reason.BUSY) is not resting
    assert (refusal(SHAPER, replace(DISARMED, state=state)) is Reason.BUSY) is not resting
    assert (refusal(AXIS, replace(DISARMED, state=state)) is Reason.BUSY) is (state is not BoardState.DISARMED)


def stopping() -> Bench:
    bench = Bench()
    bench.make_ready()
    bench.order(Move(bench.next_id(), Steps(6000), Steps(0)))
    bench.run_for(0.7)
    bench.order(Stop())
    bench.run_for(0.1)
    assert bench.status().state is BoardState.STOPPING
    return bench


def test_a_stopping_board_is_disarmed_first_and_busy_second() -> None:
    bench = stopping()
    assert bench.ask(Move(bench.next_id(), Steps(0), Steps(0))) == Refused(Reason.NOT_ARMED)
    assert bench.ask(Arm(bench.next_id(), BootId(bench.boot_id ^ 1), SILENCE_MS)) == Refused(Reason.BUSY)
    assert bench.ask(replace(AXIS, command_id=bench.next_id())) == Refused(Reason.BUSY)


def test_the_id_is_looked_at_before_the_values() -> None:
    bench = Bench()
    bench.configure()
    last = CommandId(bench.next_id() - 1)
    nonsense = replace(AXIS, speed_steps_s=0)
    assert bench.ask(replace(nonsense, command_id=last)) == Accepted()  # accepted before, whatever its other fields
    assert bench.ask(replace(nonsense, command_id=CommandId(last - 1))) == Refused(Reason.STALE_ID)
    assert bench.ask(replace(nonsense, command_id=CommandId(last + 1))) == Refused(Reason.BAD_VALUE)


@pytest.mark.parametrize(
    "command", [AXIS, SHAPER, ARM, REFERENCE, MOVE, EXPOSE], ids=lambda command: type(command).__name__
)
def test_no_id_is_refused_even_by_a_board_that_has_taken_none(command: Command) -> None:
    assert Bench().ask(replace(command, command_id=CommandId(0))) == Refused(Reason.BAD_VALUE)
