"""Talking to the simulated board when things get lost on the way."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from controller.capture.board import BoardClient
from controller.capture.events import Event, Kind
from controller.session.session import ShotOutcome
from protocol.codec import encode_message
from protocol.framing import encode_frame
from protocol.messages import Accepted, Arm, Cause, Finished, Held, Message, Notice, Outcome, Status, Stop, Welcome
from protocol.units import BootId, CommandId, Steps
from sim.board import Board
from tests.controller.capture.lines import CutPort, LossyPort
from tests.end_to_end.whole_runs import World, assert_truly_made, few_frames, kit_of, run, world_of

NS = 1_000_000_000
KIT = kit_of(exposure={"bracket_ev": [0, 1]})


def greeted(world: World) -> BoardClient:
    client = BoardClient(world.port, world.program)
    client.greet()
    event = client.wait_event(None)
    assert event is not None
    assert event.kind is Kind.WELCOMED
    return client


def heard(world: World, notice: Notice) -> None:
    """Put a notice on the wire to the host."""
    kind, payload = encode_message(notice)
    world.rig.to_host.send(world.port.now(), encode_frame(kind, 0, payload))


def test_greeting_tells_who_the_board_is() -> None:
    world = world_of(KIT)
    client = BoardClient(world.port, world.program)
    client.greet()
    event = client.wait_event(None)
    assert event is not None
    assert event.kind is Kind.WELCOMED
    assert event.boot_id
    assert event.command_id == 0


def test_nothing_happens_until_the_deadline() -> None:
    world = world_of(KIT)
    client = greeted(world)
    assert client.wait_event(3 * NS) is None
    assert world.port.now() == 3 * NS
    assert client.wait_event(NS) is None  # a deadline that has passed already
    assert world.port.now() == 3 * NS


def test_unknown_endings_are_counted_and_dropped() -> None:
    world = world_of(KIT)
    client = greeted(world)
    heard(world, Finished(CommandId(4711), Outcome.ARRIVED, Steps(0), Steps(0), 1))
    heard(world, Finished(CommandId(0), Outcome.ARRIVED, Steps(0), Steps(0), 1))
    assert client.wait_event(NS) is None
    assert client.unknown_endings == 2


def test_a_held_notice_becomes_an_event_with_its_cause() -> None:
    world = world_of(KIT)
    client = greeted(world)
    heard(world, Held(Cause.STALL, Steps(0), Steps(0), 1))
    event = client.wait_event(NS)
    assert event is not None
    assert (event.kind, event.cause) == (Kind.HELD, Cause.STALL)


def test_a_refusal_becomes_an_event_with_its_reason() -> None:
    world = world_of(KIT)
    client = greeted(world)
    client.send(Arm(CommandId(1), BootId(1), 6000))
    event = client.wait_event(NS)
    assert event is not None
    assert event.kind is Kind.REFUSED
    assert event.reason is not None


def test_every_lost_finished_is_found_by_asking(tmp_path: Path) -> None:
    lossy: list[LossyPort] = []

    def port_of(rig: object) -> LossyPort:
        lossy.append(LossyPort(rig, lambda message: isinstance(message, Finished)))  # type: ignore[arg-type]
        return lossy[-1]

    world = world_of(KIT, port_of=port_of)
    done = run(world, tmp_path)
    assert done.result.complete
    assert lossy[0].losses == 1 + len(world.program.steps)  # the reference run's as well
    assert_truly_made(KIT, few_frames(), world.truth)
    assert [shot.outcome for shot in done.shots] == [ShotOutcome.CONFIRMED] * len(world.truth)
    # Asking costs at most the time between two questions for each ending.
    lossless = run(world_of(KIT), make(tmp_path / "lossless"))
    assert done.result.ended_ns - lossless.result.ended_ns < 2 * NS * lossy[0].losses


def make(folder: Path) -> Path:
    folder.mkdir()
    return folder


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
    assert event == Event(Kind.LINK_LOST, begin_ns + world.program.tries * world.program.retry_ns)


SLOW = {"max_speed_deg_s": 10.0}


@pytest.mark.parametrize("head", [{}, {"pan": SLOW, "tilt": SLOW}])
def test_a_line_that_dies_in_the_middle_ends_the_run(head: dict[str, object], tmp_path: Path) -> None:
    world = world_of(kit_of(exposure={"bracket_ev": [0, 1]}, head=head), port_of=CutPort)
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
    if head:  # a long move: the line counts as dead before the move is overdue
        assert "does not answer" in done.result.sentence
        assert done.happenings[-1].what == "link_lost"
    else:  # whatever is noticed first, the operator is not told that the head stands still
        assert "does not" in done.result.sentence
        assert done.happenings[-1].what in {"link_lost", "overdue"}
    assert [shot.outcome for shot in done.shots] == [ShotOutcome.CONFIRMED] * 2
    # The board is left with its patience: it stops by itself and nothing more is exposed.
    world.port.wait_bytes(port.now() + 60 * NS)
    assert len(world.truth) == 2
    assert max(axis.motion.end_ns for axis in (world.rig.head.pan, world.rig.head.tilt)) < port.now()


def test_a_board_that_restarts_is_noticed_and_nothing_goes_on(tmp_path: Path) -> None:
    world = world_of(KIT)
    rig, made = world.rig, 0

    def restart() -> None:
        nonlocal made
        made += 1
        if made == 3:
            rig.board = Board(
                rig.head,
                rig.camera,
                Random(99),
                sync_contact=True,
                max_step_rate=20_000,
                now_ns=world.port.now(),
            )

    done = run(world, tmp_path, on_exposure=restart)
    assert not done.result.complete
    assert "restarted" in done.result.sentence
    assert done.happenings[-1].what == "restarted"
    assert len(world.truth) == 3
    world.port.wait_bytes(world.port.now() + 60 * NS)
    assert len(world.truth) == 3


def test_a_board_that_holds_by_itself_ends_the_run_with_the_cause(tmp_path: Path) -> None:
    world = world_of(KIT)

    def hold() -> None:
        heard(world, Held(Cause.STOP_SWITCH, Steps(0), Steps(0), 1))

    done = run(world, tmp_path, on_exposure=hold)
    assert not done.result.complete
    assert "stop switch was pressed" in done.result.sentence
    assert len(done.shots) == 1
