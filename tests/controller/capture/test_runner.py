"""Whole runs that end early, compared with what truly happened and with the session."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from controller.capture.events import EventKind, Wanted
from controller.capture.runner import Runner
from controller.errors import StorageFailed
from controller.session.rows import ShotOutcome
from controller.session.session import Session
from protocol.codec import decode_message, encode_message
from protocol.framing import Deframer, encode_frame
from protocol.messages import BoardState, Cause, GetStatus, Status, StatusFlag, Stop
from sim.camera import Label, Opening
from tests.controller.capture.lines import MuffledPort, the_first
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

KIT = kit_of(exposure={"bracket_ev": [0, 1]})
PLANNED = 2 * len(few_frames())
BOTH_KNOWN = StatusFlag.PAN_KNOWN | StatusFlag.TILT_KNOWN


def status_of(world: World) -> Status:
    """Ask the board itself, after everything on the line has arrived."""
    let_pass(world.port, 10.0)
    kind, payload = encode_message(GetStatus())
    world.port.write(encode_frame(kind, 200, payload))
    (frame,) = Deframer().feed(world.port.wait_bytes(None))
    status = decode_message(frame.kind, frame.payload)
    assert isinstance(status, Status)
    return status


def assert_at_rest(world: World, ended_ns: int) -> Status:
    """The board is disarmed, and no motor has turned since shortly after the end."""
    made = len(world.truth)
    status = status_of(world)
    assert status.state is BoardState.DISARMED
    assert not status.flags & StatusFlag.ARMED
    for axis in (world.rig.head.pan, world.rig.head.tilt):
        assert axis.motion.end_ns <= ended_ns + world.program.stop_deadline_ns
    assert len(world.truth) == made
    return status


def request_at(number: int, request: EventKind) -> Callable[[], Wanted | None]:
    """An operator with a request at the `number`th time he is asked."""
    count = 0

    def operator() -> Wanted | None:
        nonlocal count
        count += 1
        return Wanted(request) if count == number else None

    return operator


def test_a_whole_run(tmp_path: Path) -> None:
    world = world_of(KIT)
    heard: list[int] = []
    done = run(world, tmp_path, on_exposure=lambda: heard.append(world.port.now()))
    assert (done.result.complete, done.result.sentence) == (True, "The run is through.")
    assert_truly_made(KIT, few_frames(), world.truth)
    assert len(heard) == PLANNED
    status = assert_at_rest(world, done.result.ended_ns)
    assert status.flags & BOTH_KNOWN == BOTH_KNOWN


def test_the_session_tells_the_truth(tmp_path: Path) -> None:
    world = world_of(KIT)
    done = run(world, tmp_path)
    assert len(done.shots) == len(world.truth)
    before_ns = 0
    for shot, true in zip(done.shots, world.truth, strict=True):
        assert (shot.intent.frame, shot.intent.exposure) == (true.frame, true.exposure)
        assert shot.ended_ns is not None
        assert before_ns <= shot.intended_ns < true.t_s * 1e9 < shot.ended_ns
        assert shot.intent.pan_deg == pytest.approx(true.yaw_deg, abs=0.002)
        assert shot.intent.tilt_deg == pytest.approx(true.pitch_deg, abs=0.002)
        assert shot.board_clock_ms is not None
        assert shot.board_clock_ms / 1000 == pytest.approx(true.t_s + true.shutter_s, abs=0.1)
        before_ns = shot.ended_ns
    assert [shot.intent.command_id for shot in done.shots] == sorted({s.intent.command_id for s in done.shots})


def test_the_happenings_are_the_states_in_order(tmp_path: Path) -> None:
    done = run(world_of(KIT), tmp_path)
    states = [happening.state for happening in done.happenings]
    assert states[:7] == ["connecting", "arming", "referencing", "checking", "moving", "checking", "settling"]
    assert states[-2:] == ["closing", "done"]
    counts = Counter(states)
    assert (counts["moving"], counts["exposing"]) == (len(few_frames()) + 1, PLANNED)  # plus a move past the switches
    moments = [happening.at_ns for happening in done.happenings]
    assert moments == sorted(moments)
    assert moments[-1] == done.result.ended_ns


@pytest.mark.parametrize("number", [1, 2, 4, 5, 6, 8, 9, 10, 15, 20])
def test_a_stop_by_the_operator(number: int, tmp_path: Path) -> None:
    world = world_of(KIT)
    done = run(world, tmp_path, request_at(number, EventKind.STOP))
    assert (done.result.complete, done.result.sentence, done.result.early) == (False, "Stopped as asked.", True)
    assert done.happenings[-1].state == "failed"
    assert_at_rest(world, done.result.ended_ns)
    claimed = [(s.intent.frame, s.intent.exposure) for s in done.shots if s.outcome is ShotOutcome.CONFIRMED]
    true = [(shot.frame, shot.exposure) for shot in world.truth]
    assert claimed == true[: len(claimed)]
    assert len(true) - len(claimed) <= 1  # one that was under way may have been made all the same
    assert len(true) < PLANNED


def test_a_second_stop_changes_nothing(tmp_path: Path) -> None:
    requests = iter([None] * 7 + [Wanted(EventKind.STOP)] * 3)
    world = world_of(KIT)
    done = run(world, tmp_path, lambda: next(requests, None))
    assert done.result.sentence == "Stopped as asked."
    assert_at_rest(world, done.result.ended_ns)


@pytest.mark.parametrize("number", [4, 5, 6, 8, 9, 12])
def test_a_halt_by_the_operator(number: int, tmp_path: Path) -> None:
    world = world_of(KIT)
    done = run(world, tmp_path, request_at(number, EventKind.HALT))
    assert not done.result.complete
    assert "no longer known" in done.result.sentence
    status = assert_at_rest(world, done.result.ended_ns)
    assert not status.flags & BOTH_KNOWN
    assert len(world.truth) < PLANNED


def test_a_halt_overtakes_a_stop(tmp_path: Path) -> None:
    requests = iter([None] * 7 + [Wanted(EventKind.STOP), Wanted(EventKind.HALT)])
    world = world_of(KIT)
    done = run(world, tmp_path, lambda: next(requests, None))
    assert "Halted" in done.result.sentence
    assert not assert_at_rest(world, done.result.ended_ns).flags & BOTH_KNOWN


def test_a_camera_that_never_answers_is_tried_three_times_at_three_exposures(tmp_path: Path) -> None:
    world = world_of(KIT)
    world.rig.camera.release = lambda *_: None  # type: ignore[method-assign]
    done = run(world, tmp_path)
    assert not done.result.complete
    assert "The camera did not answer 9 times running" in done.result.sentence
    assert world.truth == []
    assert [(s.intent.frame, s.intent.exposure, s.intent.attempt, s.outcome) for s in done.shots] == [
        (frame, exposure, attempt, ShotOutcome.UNCONFIRMED)
        for frame, exposure in (
            (0, 0),
            (1, 0),
            (2, 0),
        )  # the first of each bracket: the others would be shot in its place
        for attempt in (1, 2, 3)
    ]
    assert_at_rest(world, done.result.ended_ns)


def silent_for(world: World, numbers: set[int]) -> None:
    """Make the camera miss the releases of these numbers, counted from 1."""
    camera, asked = world.rig.camera, 0
    real_release = camera.release

    def release(now_ns: int, label: Label, press_ns: int = 0) -> Opening | None:
        nonlocal asked
        asked += 1
        return None if asked in numbers else real_release(now_ns, label, press_ns)

    camera.release = release  # type: ignore[method-assign]


@pytest.mark.parametrize("first", [1, 4, PLANNED])
def test_an_exposure_that_stays_silent_is_made_at_the_end(first: int, tmp_path: Path) -> None:
    world = world_of(KIT)
    silent_for(world, {first, first + 1, first + 2})
    done = run(world, tmp_path)
    assert (done.result.complete, done.result.sentence) == (True, "The run is through.")
    wanted = planned_exposures(KIT, few_frames())
    late = wanted[first - 1]
    assert sorted((shot.frame, shot.exposure) for shot in world.truth) == wanted
    assert world.truth[-1].frame == late[0]
    assert all(shot.still for shot in world.truth)
    # The camera shoots its bracket in turn, whatever is requested: what is put off must not shift what follows.
    assert all(shot.shutter_s == pytest.approx(KIT.shutter_times_s()[shot.exposure], abs=1e-6) for shot in world.truth)
    assert Counter(shot.outcome for shot in done.shots) == {ShotOutcome.CONFIRMED: PLANNED, ShotOutcome.UNCONFIRMED: 3}


def test_an_exposure_that_stays_silent_at_the_end_too_is_named(tmp_path: Path) -> None:
    world = world_of(KIT)
    silent_for(world, {1, 2, 3, *range(PLANNED + 3, PLANNED + 6)})
    done = run(world, tmp_path)
    assert not done.result.complete
    assert done.result.sentence.startswith("The camera stayed silent at frames 0, also at the end")
    assert not done.result.early  # it went through; a series continues
    assert len(world.truth) == PLANNED - 1
    assert_at_rest(world, done.result.ended_ns)


def test_a_camera_that_misses_one_release_costs_one_try(tmp_path: Path) -> None:
    world = world_of(KIT)
    silent_for(world, {4})
    done = run(world, tmp_path)
    assert done.result.complete
    assert_truly_made(KIT, few_frames(), world.truth)
    outcomes = [shot.outcome for shot in done.shots]
    assert outcomes.index(ShotOutcome.UNCONFIRMED) == 3
    assert Counter(outcomes) == {ShotOutcome.CONFIRMED: PLANNED, ShotOutcome.UNCONFIRMED: 1}
    assert (done.shots[4].intent.exposure, done.shots[4].intent.attempt) == (done.shots[3].intent.exposure, 2)


@pytest.mark.parametrize("method", ["intend", "conclude", "note"])
@pytest.mark.parametrize("after", [1, 3, 6])
def test_a_full_disk_stops_the_head(method: str, after: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    world = world_of(KIT)
    real, count = getattr(Session, method), 0

    def fails(self: Session, *given: object) -> None:
        nonlocal count
        count += 1
        if count > after:
            raise StorageFailed("the disk is full")
        real(self, *given)

    monkeypatch.setattr(Session, method, fails)
    with (
        Session.create(tmp_path / "session.sqlite", {}, durable=False) as session,
        pytest.raises(StorageFailed, match="the disk is full"),
    ):
        Runner(world.program, world.port, session).run()
    made = len(world.truth)
    let_pass(world.port, 0.1)
    assert_at_rest(world, world.port.now())
    assert len(world.truth) == made
    if method == "intend":
        assert made == after  # no shutter without its intent on the disk


@pytest.mark.parametrize("lost", [0, 1, 3])
def test_any_other_mistake_stops_the_head_too(lost: int, tmp_path: Path) -> None:
    """However many of its stops get lost: they are repeated until one is answered."""
    world = world_of(KIT, port_of=lambda rig: MuffledPort(rig, the_first(lost, Stop)))
    calls = 0

    def broken() -> None:
        nonlocal calls
        calls += 1
        if calls == 2:
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        run(world, tmp_path, on_exposure=broken)
    assert assert_at_rest(world, world.port.now()).cause is Cause.HOST_STOP
    assert len(world.truth) == 2


def test_without_a_contact_everything_is_assumed(tmp_path: Path) -> None:
    kit = kit_of(board={"sync_contact": False})
    world = world_of(kit)
    done = run(world, tmp_path)
    assert done.result.complete
    assert_truly_made(kit, few_frames(), world.truth)
    assert {shot.outcome for shot in done.shots} == {ShotOutcome.ASSUMED}


def test_a_blind_camera_that_is_off_is_still_only_assumed(tmp_path: Path) -> None:
    """Without a contact the host cannot know, and the session says "assumed"."""
    world = world_of(kit_of(board={"sync_contact": False}))
    world.rig.camera.release = lambda *_: None  # type: ignore[method-assign]
    done = run(world, tmp_path)
    assert world.truth == []
    assert {shot.outcome for shot in done.shots} == {ShotOutcome.ASSUMED}
