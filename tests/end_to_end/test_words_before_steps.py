"""Every way in which a head can begin to move, with a person at it all the time: each motion needs a warning first.

The person comes as soon as the head stops and leaves only after a warning. The clock is the simulator's.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from controller import clock
from controller.calibration.mover import HandMover
from controller.calibration.records import AxisName
from controller.capture.gate import Gate, Unannounced
from controller.capture.hand import UNSHAPED, Hand
from controller.capture.jog import Keys
from controller.capture.people import People
from controller.commands.jog import held_head, jog_command
from controller.commands.series import capture_series
from controller.commands.stand_in import rig_spec
from controller.errors import InputError
from controller.kit.load import load_kit
from controller.planning.make import make_plan
from controller.planning.series import SessionSeries
from controller.program.build import build_program
from controller.setup.at_head import see_cables, see_zero
from protocol.messages import Arm, Cause, GetStatus, Halt, Move, Reference, Request, Stop
from protocol.shaper import Shaper
from protocol.units import NS, BootId, CommandId, Steps
from sim.person import Person, PersonSpec
from sim.rig import Rig
from sim.scenario import Fault, Scenario
from sim.virtual_port import VirtualPort
from tests.controller.commands.shell import HEADLESS, KIT
from tests.end_to_end.attended import Attended
from tests.end_to_end.whole_runs import kit_of
from tests.heads import head_text
from tests.people import keys_of

AT_THE_HEAD = PersonSpec(
    answers_s=(6.0, 20.0), comes_share=1.0, says_no_share=0.0, mistypes_share=0.0, types_ahead=0, walks_away_share=0.0
)
PLAN = make_plan(kit_of(12.0), 0.3)
BLIND = make_plan(kit_of(12.0, head={"pan": {"zero_switch": False}, "tilt": {"zero_switch": False}}), 0.3)


def assert_announced(person: Person, rig: Rig) -> None:
    assert person.unannounced == [], person.read
    assert rig.head.pan.motion.end_ns > 0, "nothing moved at all"


def captured(folder: Path, *faults: Fault, **more: Any) -> Attended:
    world = Attended(PLAN, folder, 2, replace(AT_THE_HEAD, **more.pop("spec", {})), Scenario("drawn", "", faults), **more)
    assert world.capture(), world.ends
    assert_announced(world.person, world.rig)
    return world


@pytest.mark.parametrize("sweep", [True, False])
def test_a_capture(tmp_path: Path, sweep: bool) -> None:
    world = captured(tmp_path, sweep=sweep)
    walked = [line for _, line in world.person.read if line.startswith("Turning to pan")]
    assert bool(walked) == sweep


def test_a_walk_is_not_made_twice_while_zero_is_known(tmp_path: Path) -> None:
    world = Attended(PLAN, tmp_path, 2, replace(AT_THE_HEAD, commands=("stop",), within_s=130.0))
    assert world.capture(), world.ends
    assert len(world.ends) == 2
    assert_announced(world.person, world.rig)
    walked = [line for _, line in world.person.read if "a slow walk round the extremes" in line]
    left_out = [line for _, line in world.person.read if line.startswith("Skipping the walk round the extremes")]
    assert (len(walked), len(left_out)) == (1, 1)


def test_a_walk_is_made_again_when_the_board_has_restarted(tmp_path: Path) -> None:
    world = Attended(PLAN, tmp_path, 2, AT_THE_HEAD, scenario=Scenario("drawn", "", (Fault("limit-hit", at_s=150.0),)))
    world.capture(tries=0)
    world.rig.restart_board(world.port.now(), Cause.POWER_ON)
    assert world.resume(), world.ends
    assert_announced(world.person, world.rig)
    assert len([line for _, line in world.person.read if "a slow walk round the extremes" in line]) == 2


@pytest.mark.parametrize("command", ["stop", "halt", "pause", "pause-after-row", "retake 1"])
def test_after_a_request_of_the_operator(tmp_path: Path, command: str) -> None:
    captured(tmp_path, sweep=False, spec={"commands": (command,), "within_s": 60.0})


@pytest.mark.parametrize("asks", [False, True])
@pytest.mark.parametrize(
    "fault",
    [
        Fault("line-cut", after_exposure=3, for_s=40.0),
        Fault("line-cut", after_exposure=3, for_s=1500.0),
        Fault("supply-dip", after_exposure=3, for_s=30.0),
        Fault("board-reset", after_exposure=3),
        Fault("stop-switch", after_exposure=3, for_s=30.0),
        Fault("host-asleep", after_exposure=3, for_s=300.0),
        Fault("host-asleep", at_s=8.0, for_s=300.0),
        Fault("limit-hit", after_exposure=3),
        Fault("stall", after_exposure=3),
    ],
    ids=lambda fault: f"{fault.kind}-{fault.for_s}",
)
def test_after_an_interruption(tmp_path: Path, fault: Fault, asks: bool) -> None:
    world = captured(tmp_path, fault, sweep=False, ask_before_moving=asks)
    asked = [line for _, line in world.person.read if line.startswith("Is the head clear of hands")]
    if fault.kind in {"line-cut", "supply-dip", "board-reset"}:  # somebody was at work: asked even if not set to
        assert asked
    elif fault.kind == "host-asleep" and fault.after_exposure is not None:
        assert bool(asked) == asks


def test_a_series_and_the_wait_before_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    world = Attended(PLAN, tmp_path, 2, AT_THE_HEAD)
    begin = datetime(2026, 6, 21, 4, 0, tzinfo=UTC)
    monkeypatch.setattr(clock, "local_time", lambda: begin + timedelta(seconds=world.port.now() / NS))
    monkeypatch.setattr(clock, "monotonic_ns", world.port.now)
    sessions = (tmp_path / "s-1.sqlite", tmp_path / "s-2.sqlite")
    series = SessionSeries(sessions, begin + timedelta(hours=1), timedelta(minutes=30))
    for summary, _ in capture_series(world.plan_path, world.url, series, world.crew(), None, world.open_port):
        assert summary.complete
    assert_announced(world.person, world.rig)
    warnings = [(at_ns, line) for at_ns, line in world.person.read if line.startswith("The head moves")]
    assert len(warnings) == 3  # the slow test turn, and each set
    waits = [at_ns for at_ns, line in world.person.read if line.startswith("Nothing moves until")]
    assert len(waits) > 80  # one a minute, before each set
    (_, _), (first_ns, _), (second_ns, _) = warnings
    assert [round(at_ns / NS / 60) for at_ns in (first_ns, second_ns)] == [60, 90]
    assert not [at_ns for at_ns in waits if first_ns <= at_ns < first_ns + 50 * NS]


@pytest.mark.parametrize("reset", [True, False])
def test_a_head_without_switches_whose_board_restarts_while_the_set_waits(tmp_path: Path, reset: bool) -> None:
    """It no longer knows zero, and must not take its present place for it."""
    world = Attended(BLIND, tmp_path, 2, AT_THE_HEAD, sweep=False)
    looked: list[int] = []

    def over(_: People) -> bool:
        looked.append(world.port.now())
        if len(looked) == 2 and reset:
            world.rig.head.pan.lose(world.port.now(), 3000)
            world.rig.restart_board(world.port.now(), Cause.POWER_ON)
        return len(looked) > 10

    complete = world.capture(tries=0, wait=over)
    assert complete != reset
    if reset:
        assert world.rig.truth.exposures == []
        assert "set zero at its mark again" in world.ends[-1]
    assert world.person.unannounced == []


@pytest.mark.parametrize("board_knows", [True, False])
def test_zero_that_was_lost_is_not_taken_up_by_a_script(tmp_path: Path, board_knows: bool) -> None:
    """A head without switches after its position was lost: --yes does not declare any place zero."""
    world = Attended(BLIND, tmp_path, 2, AT_THE_HEAD, Scenario("drawn", "", (Fault("board-reset", after_exposure=4),)))
    world.sweep = False
    world.capture(tries=0)
    assert "set zero at its mark again" in world.ends[-1]
    made = len(world.rig.truth.exposures)
    if board_knows:  # somebody has moved it with other software, wherever zero is there
        hand = Hand(world.port, build_program(BLIND.kit, ()))
        hand.wait_ready()
        hand.wait_zero()
        hand.wait_move(3200, 0)
        hand.wait_rest()
    world.yes, world.at_terminal = True, False
    assert not world.resume(tries=1)
    assert "Zero is not set" in world.ends[-1]
    assert len(world.rig.truth.exposures) == made


# The commands that move a head without a run.


@dataclass
class AtHead:
    """A simulated head at a port, a person at it, and a kit file."""

    kit: Path
    rig: Rig
    port: VirtualPort
    person: Person

    @property
    def url(self) -> str:
        return f"virtual port of {self.kit}"

    @property
    def people(self) -> People:
        return People(self.person.say, lambda: None, self.person, at_terminal=True, lead_ns=5 * NS)

    def open_port(self, _: str, __: int) -> Any:
        return nullcontext(self.port)


@pytest.fixture
def at_head(tmp_path: Path) -> AtHead:
    path = tmp_path / "kit.toml"
    path.write_text(KIT, encoding="utf-8")
    rig = Rig(rig_spec(load_kit(path), 4))
    port = VirtualPort(rig)
    rig.person = Person(AT_THE_HEAD, 5, port.now, port.wake_at, rig.head)
    return AtHead(path, rig, port, rig.person)


def test_jog_to_a_pose(at_head: AtHead) -> None:
    jog_command(at_head.kit, at_head.url, (30.0, 10.0), None, at_head.people, at_head.open_port)
    assert_announced(at_head.person, at_head.rig)


def test_a_head_that_finds_zero_by_itself_takes_no_place_for_it(at_head: AtHead) -> None:
    with pytest.raises(InputError, match="finds zero by itself"):
        jog_command(at_head.kit, at_head.url, (30.0, 10.0), None, at_head.people, at_head.open_port, zero_here=True)
    assert at_head.rig.head.pan.motion.end_ns == at_head.rig.head.tilt.motion.end_ns == 0


@pytest.mark.parametrize("switched", ["pan", "tilt", "neither"])
def test_zero_of_a_head_with_a_switch_on_one_axis_is_announced_before_that_axis_turns(
    at_head: AtHead, switched: str
) -> None:
    unswitched = {axis: {"zero_switch": False} for axis in ("pan", "tilt") if axis != switched}
    at_head.kit.write_text(HEADLESS + head_text(**unswitched))
    at_head.rig = Rig(rig_spec(load_kit(at_head.kit), 4))
    at_head.port = VirtualPort(at_head.rig)
    at_head.person = at_head.rig.person = Person(AT_THE_HEAD, 5, at_head.port.now, at_head.port.wake_at, at_head.rig.head)
    jog_command(at_head.kit, at_head.url, (30.0, 10.0), None, at_head.people, at_head.open_port, zero_here=True)
    assert_announced(at_head.person, at_head.rig)


def test_jog_by_keys(at_head: AtHead) -> None:
    keys = keys_of(["r", "u", "z", "1", "l", "q"], at_head.port, pause_s=8.0)

    def next_key() -> str | None:
        key = keys.next_key()
        if key is not None and key in "lrud":
            at_head.person.press()
        return key

    jog_command(at_head.kit, at_head.url, None, Keys(keys.reading, next_key), at_head.people, at_head.open_port)
    assert_announced(at_head.person, at_head.rig)


def test_calibration_between_two_readings(at_head: AtHead) -> None:
    with held_head(at_head.kit, at_head.url, "test", at_head.people, at_head.open_port) as (hand, _):
        mover = HandMover(hand, at_head.people)
        for steps in (3200, 6400, -640):
            mover.wait_go_to(AxisName.PAN, steps - 640, steps)
            at_head.person.say("The face goes to the instrument: about to stop and read.")
            end_ns = at_head.port.now() + 100 * NS
            while at_head.port.now() < end_ns:
                at_head.port.wait_bytes(end_ns)
    assert_announced(at_head.person, at_head.rig)


def test_moves_whose_end_is_measured(at_head: AtHead) -> None:
    shaper = Shaper(((0, 32_768), (80, 32_768)))
    with held_head(at_head.kit, at_head.url, "test", at_head.people, at_head.open_port) as (hand, _):
        mover = HandMover(hand, at_head.people)
        for shapers in (UNSHAPED, (shaper, UNSHAPED[1])):
            mover.wait_visit([(2560, 640), (3200, 640)], "the head turns to where move 1 begins")
            at_head.person.say("The sensor is started: about to stop and read.")
            mover.wait_pass(100 * NS)
            mover.wait_visit([(3250, 640)], "move 1: pan turns by 0.16°", shapers)
            mover.wait_pass(100 * NS)
    assert_announced(at_head.person, at_head.rig)


@pytest.mark.parametrize(
    "look",
    [
        see_zero,
        see_cables,
    ],
    ids=["zero", "cables"],
)
def test_setting_up(at_head: AtHead, look: Callable[..., Any]) -> None:
    with held_head(at_head.kit, at_head.url, "test", at_head.people, at_head.open_port) as (hand, program):
        assert look(hand, program.kit, at_head.people).good
    assert_announced(at_head.person, at_head.rig)


# The gate itself.


def test_nothing_that_starts_motion_passes_a_shut_gate() -> None:
    now = 0
    said: list[str] = []
    gate = Gate(lambda: now, lambda words, _: said.append(words))
    starts: list[Request] = [
        Arm(CommandId(1), BootId(1), 1),
        Reference(CommandId(1), 1, 1, 1),
        Move(CommandId(1), Steps(0), Steps(0)),
    ]
    others: list[Request] = [GetStatus(), Stop(), Halt()]
    for request in others:
        gate.check(request)
    for request in starts:
        with pytest.raises(Unannounced):
            gate.check(request)
    gate.announce("because", 3 * NS)
    assert said == ["The head moves in 3 s: because. Ctrl-C keeps it still."]
    now = 3 * NS - 1
    with pytest.raises(Unannounced, match="before the time"):
        gate.check(starts[2])
    now += 1
    for request in starts:
        gate.check(request)
    gate.shut()
    with pytest.raises(Unannounced):
        gate.check(starts[0])
