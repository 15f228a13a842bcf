"""Talking to the simulated board while messages get lost."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from random import Random

import pytest

from controller.capture.board import BoardClient
from controller.capture.events import Event, EventKind, Wanted
from controller.capture.gate import Gate
from controller.kit.line import TRIES, retry_ns
from controller.planning.plan import Frame
from controller.session.rows import ShotOutcome
from protocol.codec import encode_message
from protocol.framing import encode_frame
from protocol.messages import (
    Accepted,
    Arm,
    BoardState,
    Cause,
    Finished,
    Halt,
    Held,
    Message,
    Move,
    Notice,
    Outcome,
    Reference,
    SetAxis,
    Status,
    Stop,
    Welcome,
)
from protocol.statistics import Trouble
from protocol.units import AxisId, BootId, CommandId, Steps
from sim.board import SimulatedBoard
from tests.controller.capture.lines import CutPort, LossyPort, MuffledPort, the_first
from tests.end_to_end.whole_runs import (
    World,
    assert_truly_made,
    few_frames,
    kit_of,
    let_pass,
    planned_exposures,
    run,
    world_of,
)

NS = 1_000_000_000
KIT = kit_of(exposure={"bracket_ev": [0, 1]})


def greeted(world: World) -> BoardClient:
    client = BoardClient(world.port, world.program, Gate.of_simulation())
    client.greet()
    event = client.wait_event(None)
    assert event is not None
    assert event.kind is EventKind.WELCOMED
    return client


def armed(world: World) -> BoardClient:
    """Greet the board, describe both axes and arm it."""
    client = BoardClient(world.port, world.program, Gate.of_simulation())
    client.greet()
    welcome = client.wait_event(None)
    assert welcome is not None
    assert welcome.boot_id is not None
    for number, (name, axis) in enumerate(((AxisId.PAN, world.program.pan), (AxisId.TILT, world.program.tilt)), start=1):
        low, high = Steps(axis.min_steps), Steps(axis.max_steps)
        client.send(SetAxis(CommandId(number), name, low, high, axis.speed_steps_s, axis.accel_steps_s2))
    client.send(Arm(CommandId(3), welcome.boot_id, world.program.silence_ms))
    event = client.wait_event(None)
    assert event is not None
    assert event.kind is EventKind.ARMED
    return client


def heard(world: World, notice: Notice) -> None:
    """Put a notice on the wire to the host."""
    kind, payload = encode_message(notice)
    world.rig.to_host.send(world.port.now(), encode_frame(kind, 0, payload))


def test_greeting_tells_who_the_board_is() -> None:
    world = world_of(KIT)
    client = BoardClient(world.port, world.program, Gate.of_simulation())
    client.greet()
    event = client.wait_event(None)
    assert event is not None
    assert event.kind is EventKind.WELCOMED
    assert event.boot_id
    assert event.command_id == 0


def test_nothing_happens_until_the_deadline() -> None:
    world = world_of(KIT)
    client = greeted(world)
    assert client.wait_event(3 * NS) is None
    assert world.port.now() == 3 * NS
    assert client.wait_event(NS) is None  # a deadline in the past
    assert world.port.now() == 3 * NS


def test_unknown_endings_are_dropped() -> None:
    world = world_of(KIT)
    client = greeted(world)
    heard(world, Finished(CommandId(4711), Outcome.ARRIVED, Steps(0), Steps(0), 1))
    heard(world, Finished(CommandId(0), Outcome.ARRIVED, Steps(0), Steps(0), 1))
    assert client.wait_event(NS) is None


def test_a_held_notice_becomes_an_event_with_its_cause() -> None:
    world = world_of(KIT)
    client = greeted(world)
    heard(world, Held(Cause.STALL, Steps(0), Steps(0), 1))
    event = client.wait_event(NS)
    assert event is not None
    assert (event.kind, event.cause) == (EventKind.HELD, Cause.STALL)


def test_a_refusal_becomes_an_event_with_its_reason() -> None:
    world = world_of(KIT)
    client = greeted(world)
    client.send(Arm(CommandId(1), BootId(1), 6000))
    event = client.wait_event(NS)
    assert event is not None
    assert event.kind is EventKind.REFUSED
    assert event.reason is not None


def test_every_lost_finished_is_found_by_asking(tmp_path: Path) -> None:
    lossy: list[LossyPort] = []

    def port_of(rig: object) -> LossyPort:
        lossy.append(LossyPort(rig, lambda message: isinstance(message, Finished)))  # type: ignore[arg-type]
        return lossy[-1]

    world = world_of(KIT, port_of=port_of)
    done = run(world, tmp_path)
    assert done.result.complete
    assert lossy[0].losses == 1 + len(world.program.steps)  # including the reference run's
    assert_truly_made(KIT, few_frames(), world.truth)
    assert [shot.outcome for shot in done.shots] == [ShotOutcome.CONFIRMED] * len(world.truth)
    # Predictions are good to milliseconds except for the reference run, so each ending is asked for 20 ms late.
    lossless = run(world_of(KIT), make(tmp_path / "lossless"))
    assert done.result.seconds - lossless.result.seconds < 0.05 * lossy[0].losses + 2.0


def make(folder: Path) -> Path:
    folder.mkdir()
    return folder


SILENT_ENDINGS: dict[str, tuple[dict[str, object], tuple[float, float]]] = {
    "a first move of no way": ({}, (0.0, 0.0)),
    "a patient board and a long move": ({"silence_ms": 30_000}, (330.0, 0.0)),
    "a slow line": ({"baud": 1200, "silence_ms": 6000}, (330.0, -20.0)),
}


@pytest.mark.parametrize(("board", "aim"), SILENT_ENDINGS.values(), ids=SILENT_ENDINGS)
def test_an_ending_that_is_never_told_is_asked_for_in_time(
    board: dict[str, object], aim: tuple[float, float], tmp_path: Path
) -> None:
    kit = kit_of(board=board)
    frames = (Frame(id=0, row=0, yaw_deg=aim[0], pitch_deg=aim[1]), *few_frames()[1:])
    world = world_of(kit, frames, port_of=lambda rig: LossyPort(rig, lambda message: isinstance(message, Finished)))
    done = run(world, tmp_path)
    assert done.result.sentence == "The run is through."
    assert_truly_made(kit, frames, world.truth)
    exchange_s = 2 * 40 * 10 / kit.board.baud  # two of the longest frames, ten bit times a byte (arithmetic)
    assert done.result.seconds < world.program.expected_ns / NS + 2.0 + 10 * exchange_s


def test_questions_about_a_late_ending_come_at_doubling_intervals() -> None:
    questions: list[int] = []

    class Counting(LossyPort):
        def write(self, data: bytes) -> None:
            questions.append(self.now())
            super().write(data)

    world = world_of(kit_of(board={"silence_ms": 60_000}), port_of=lambda rig: Counting(rig, lambda _: False))
    client = armed(world)
    due_ns = world.port.now() + NS
    questions.clear()
    client.send(Reference(CommandId(4), 320, 320, 10), expected_ns=NS)  # takes longer than expected
    while (event := client.wait_event(None)) is not None and event.kind is not EventKind.REFERENCED:
        pass
    late = [round((at_ns - due_ns) / 1e6) for at_ns in questions[1:]]
    assert late == [20 * 2**number for number in range(len(late))]
    assert len(late) >= 5


def test_a_board_that_stops_by_itself_is_asked_until_it_rests() -> None:
    """The notices of its stop are lost. While it still brakes, nobody is told that it is at rest."""
    slow = {"max_speed_deg_s": 30.0, "max_accel_deg_s2": 5.0}
    world = world_of(
        kit_of(head={"pan": slow, "tilt": slow}),
        port_of=lambda rig: LossyPort(rig, lambda message: isinstance(message, Finished | Held)),
    )
    client = armed(world)
    client.send(Reference(CommandId(4), 3000, 3000, 10), expected_ns=NS)
    event = client.wait_event(None)
    assert event is not None
    assert event.kind is EventKind.REFERENCED
    client.send(Move(CommandId(5), Steps(330 * 320), Steps(0)), expected_ns=17 * NS)
    assert client.wait_event(world.port.now() + 7 * NS) is None
    world.rig.board._stop(world.port.now(), Cause.STALL)  # as when a motor reports trouble
    rest_ns = world.rig.head.pan.motion.end_ns
    assert rest_ns > world.port.now() + 5 * NS
    events = [client.wait_event(rest_ns + NS) for _ in range(2)]
    assert [event.kind for event in events if event] == [EventKind.CUT_SHORT, EventKind.HELD]
    assert all(event is not None and rest_ns <= event.at_ns < rest_ns + NS // 10 for event in events)
    assert events[1] is not None
    assert events[1].cause is Cause.STALL


@pytest.mark.parametrize("request_", [Stop(), Halt()])
@pytest.mark.parametrize("lost", [0, 1, 4])
def test_a_stop_is_repeated_until_the_board_rests(request_: Stop | Halt, lost: int) -> None:
    world = world_of(KIT, port_of=lambda rig: MuffledPort(rig, the_first(lost, type(request_))))
    client = armed(world)
    client.send(Reference(CommandId(4), 3000, 3000, 10), expected_ns=9 * NS)
    assert client.wait_event(world.port.now() + NS // 5) is None
    assert world.rig.board.next_deadline() is not None
    begin_ns = world.port.now()
    assert client.wait_stopped(request_, world.program.stop_deadline_ns)
    assert world.port.now() - begin_ns >= lost * world.program.retry_ns
    status = world.rig.board._status(world.port.now())
    assert status.state is BoardState.DISARMED
    assert status.cause is (Cause.HOST_HALT if isinstance(request_, Halt) else Cause.HOST_STOP)


def test_a_stop_that_nobody_hears_is_given_up() -> None:
    world = world_of(KIT, port_of=lambda rig: MuffledPort(rig, the_first(99, Stop)))
    client = armed(world)
    begin_ns = world.port.now()
    assert not client.wait_stopped(Stop(), world.program.stop_deadline_ns)
    assert world.port.now() - begin_ns == world.program.tries * world.program.retry_ns


def test_what_has_happened_comes_before_a_request() -> None:
    """A request must not reach a state that no longer expects the queued event."""
    world = world_of(KIT)
    client = greeted(world)
    heard(world, Held(Cause.STALL, Steps(0), Steps(0), 1))
    requests = iter([None, Wanted(EventKind.STOP)])
    kinds = []
    for _ in range(2):
        event = client.wait_event(NS, lambda: next(requests, None))
        assert event is not None
        kinds.append(event.kind)
    assert kinds == [EventKind.HELD, EventKind.STOP]


def test_a_request_is_asked_for_when_the_port_wakes() -> None:
    world = world_of(KIT)
    client = greeted(world)
    world.port.wake_at(2 * NS)
    event = client.wait_event(9 * NS, lambda: Wanted(EventKind.HALT) if world.port.now() >= 2 * NS else None)
    assert event == Event(EventKind.HALT, 2 * NS)


@pytest.mark.parametrize("kind", [Accepted, Status, Finished, Welcome])
def test_every_second_message_lost_still_gives_the_whole_set(kind: type[Message], tmp_path: Path) -> None:
    count = 0

    def lost(message: Message) -> bool:
        nonlocal count
        count += isinstance(message, kind)
        return isinstance(message, kind) and count % 2 == 1

    world = world_of(KIT, port_of=lambda rig: LossyPort(rig, lost))
    done = run(world, tmp_path)
    assert done.result.complete
    assert_truly_made(KIT, few_frames(), world.truth)


@pytest.mark.parametrize("seed", range(8))
def test_a_line_that_loses_a_tenth_still_gives_the_whole_set(seed: int, tmp_path: Path) -> None:
    random = Random(seed)
    world = world_of(KIT, port_of=lambda rig: LossyPort(rig, lambda _: random.random() < 0.1))
    done = run(world, tmp_path)
    assert done.result.complete
    assert_truly_made(KIT, few_frames(), world.truth)


def test_a_dead_line_is_told_after_all_tries() -> None:
    world = world_of(KIT, port_of=CutPort)
    client = greeted(world)
    port = world.port
    assert isinstance(port, CutPort)
    port.cut_ns = begin_ns = port.now()
    client.send_urgent(Stop())
    event = client.wait_event(None)
    program = world.program
    assert event == Event(EventKind.LINK_LOST, begin_ns + program.tries * program.retry_ns, trouble=Trouble.NOTHING)
    assert (program.tries, program.retry_ns) == (TRIES, retry_ns(KIT.board.baud))


SLOW = {"max_speed_deg_s": 10.0}
QUICK = {"max_speed_deg_s": 360.0, "max_accel_deg_s2": 3600.0}


@pytest.mark.parametrize("board", [{}, {"baud": 1200, "silence_ms": 6000}, {"silence_ms": 60_000}])
@pytest.mark.parametrize("head", [{}, {"pan": SLOW, "tilt": SLOW}, {"pan": QUICK, "tilt": QUICK}])
def test_a_line_that_dies_in_the_middle_ends_the_run(
    head: dict[str, object], board: dict[str, object], tmp_path: Path
) -> None:
    world = world_of(kit_of(exposure={"bracket_ev": [0, 1]}, head=head, board=board), port_of=CutPort)
    port = world.port
    assert isinstance(port, CutPort)
    made = 0

    def cut_after_two() -> None:
        nonlocal made
        made += 1
        if made == 2:
            port.cut_ns = port.now()

    done = run(world, tmp_path, on_exposure=cut_after_two)
    assert not done.result.complete
    # The line counts as dead before the command under way is overdue.
    assert "does not answer" in done.result.sentence
    assert done.happenings[-1].what == "link_lost"
    assert [shot.outcome for shot in done.shots] == [ShotOutcome.CONFIRMED] * 2
    # The board's watchdog stays active: it stops by itself, and nothing more is exposed.
    let_pass(world.port, 70.0)
    assert len(world.truth) == 2
    assert max(axis.motion.end_ns for axis in (world.rig.head.pan, world.rig.head.tilt)) < port.now()


def test_a_board_that_restarts_is_noticed_and_refers_again(tmp_path: Path) -> None:
    world = world_of(KIT)
    rig, made = world.rig, 0

    def restart() -> None:
        nonlocal made
        made += 1
        if made == 3:
            rig.board = SimulatedBoard(
                rig.head,
                rig.camera,
                Random(99),
                sync_contact=True,
                max_step_rate=20_000,
                now_ns=world.port.now(),
            )

    done = run(world, tmp_path, on_exposure=restart)
    assert done.result.complete
    states = [happening.state for happening in done.happenings]
    begin = states.index("suspended")
    assert done.happenings[begin].what == "restarted"
    again = states[begin:]
    assert "referencing" in again  # its position was lost, so zero is found again
    # Exposures from before the restart can never be checked any more, so they are repeated.
    assert Counter((one.frame, one.exposure) for one in world.truth[:3]) <= Counter(
        (one.frame, one.exposure) for one in world.truth[3:]
    )
    assert len(world.truth) == len(planned_exposures(KIT, few_frames())) + 4  # two brackets, each as a whole


def test_a_board_that_holds_by_itself_ends_the_run_with_the_cause(tmp_path: Path) -> None:
    world = world_of(KIT)

    def hold() -> None:
        heard(world, Held(Cause.STOP_SWITCH, Steps(0), Steps(0), 1))

    done = run(world, tmp_path, on_exposure=hold)
    assert not done.result.complete
    assert "stop switch was pressed" in done.result.sentence
    assert len(done.shots) == 1
