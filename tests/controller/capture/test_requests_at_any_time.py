"""The operator's requests act at once, even in the middle of a long move, and even if the line loses messages."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.capture.events import EventKind, Wanted
from controller.planning.plan import Frame
from controller.program.timing import wire_ns
from controller.session.rows import ShotOutcome
from protocol.codec import encode_message
from protocol.framing import encode_frame
from protocol.messages import BoardState, Cause, Halt, Held, Stop
from protocol.units import Steps
from sim.rig import Rig
from sim.virtual_port import VirtualPort
from tests.controller.capture.lines import MuffledPort, the_first
from tests.end_to_end.whole_runs import Done, World, assert_truly_made, few_frames, kit_of, let_pass, run, world_of

NS = 1_000_000_000
KIT = kit_of()
FAR = (Frame(id=0, row=0, yaw_deg=300.0, pitch_deg=0.0),)  # ten seconds away
MOMENT_NS = 8 * NS


def request_at(world: World, moment_ns: int, kind: EventKind) -> Callable[[], Wanted | None]:
    """An operator who presses a key at that time, once."""
    world.port.wake_at(moment_ns)
    pressed = False

    def operator() -> Wanted | None:
        nonlocal pressed
        if pressed or world.port.now() < moment_ns:
            return None
        pressed = True
        return Wanted(kind)

    return operator


def run_with_request(
    pressed: EventKind, folder: Path, port_of: Callable[[Rig], VirtualPort] = VirtualPort
) -> tuple[World, Done]:
    """A run to a far frame with a request during the move."""
    world = world_of(KIT, FAR, port_of=port_of)
    done = run(world, folder, request_at(world, MOMENT_NS, pressed))
    assert [h.state for h in done.happenings] == [
        *["connecting", "arming", "referencing", "checking", "moving", "stopping", "failed"]
    ]
    assert done.happenings[-2].at_ns == MOMENT_NS
    return world, done


def nothing_follows(world: World) -> None:
    """Check that nothing is exposed and nothing moves from now on."""
    motions = (world.rig.head.pan.motion, world.rig.head.tilt.motion)
    let_pass(world.port, 120.0)
    assert world.truth == []
    assert (world.rig.head.pan.motion, world.rig.head.tilt.motion) == motions


def test_a_stop_in_a_long_move_brakes_from_that_moment(tmp_path: Path) -> None:
    world, done = run_with_request(EventKind.STOP, tmp_path)
    braking = world.rig.head.pan.motion
    heard_ns = MOMENT_NS + wire_ns(Stop(), KIT.board.baud)
    assert braking.begin_ns == pytest.approx(heard_ns, abs=1000)
    (leg,) = braking.legs
    assert braking.speed_at(braking.begin_ns) == pytest.approx(world.program.pan.speed_steps_s)
    assert leg.accel == pytest.approx(-world.program.pan.accel_steps_s2, rel=0.001)
    # v / a until rest (Biagiotti and Melchiorri 2008, section 3.2), and then at most 20 ms until that is known.
    assert braking.end_ns - braking.begin_ns == pytest.approx(0.75 * NS, rel=0.001)
    assert braking.end_ns < done.result.ended_ns < braking.end_ns + 30_000_000
    assert (done.result.complete, done.result.sentence) == (False, "Stopped as asked.")
    nothing_follows(world)


def test_a_halt_in_a_long_move_ends_the_pulses_at_that_moment(tmp_path: Path) -> None:
    world, done = run_with_request(EventKind.HALT, tmp_path)
    rest = world.rig.head.pan.motion
    assert rest.begin_ns == rest.end_ns == pytest.approx(MOMENT_NS + wire_ns(Halt(), KIT.board.baud), abs=1000)
    assert 0 < rest.target < 300 * 320
    assert done.result.ended_ns < rest.end_ns + 30_000_000
    assert "no longer known" in done.result.sentence
    nothing_follows(world)


@pytest.mark.parametrize("lost", [1, 2, 5])
@pytest.mark.parametrize(("pressed", "kind"), [(EventKind.STOP, Stop), (EventKind.HALT, Halt)])
def test_a_request_that_gets_lost_is_repeated(
    pressed: EventKind, kind: type[Stop | Halt], lost: int, tmp_path: Path
) -> None:
    world, done = run_with_request(pressed, tmp_path, lambda rig: MuffledPort(rig, the_first(lost, kind)))
    begun_ns = world.rig.head.pan.motion.begin_ns
    waited_ns = lost * world.program.retry_ns + wire_ns(kind(), KIT.board.baud)
    assert begun_ns == pytest.approx(MOMENT_NS + waited_ns, abs=1000)
    assert ("Halted" if pressed is EventKind.HALT else "Stopped") in done.result.sentence
    status = world.rig.board._status(world.port.now())
    assert status.state is BoardState.DISARMED
    assert status.cause is (Cause.HOST_HALT if pressed is EventKind.HALT else Cause.HOST_STOP)
    nothing_follows(world)


@pytest.mark.parametrize(("pressed", "kind"), [(EventKind.STOP, Stop), (EventKind.HALT, Halt)])
def test_a_request_that_the_board_never_hears_is_told_so(
    pressed: EventKind, kind: type[Stop | Halt], tmp_path: Path
) -> None:
    _, done = run_with_request(pressed, tmp_path, lambda rig: MuffledPort(rig, the_first(99, kind)))
    assert "does not answer" in done.result.sentence
    assert done.happenings[-1].what == "link_lost"


BRACKET = kit_of(exposure={"bracket_ev": [0, 1]})
FIRST_MS, LAST_MS = 20, 33_000  # from arming the board until past the end of the run


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.integers(FIRST_MS, LAST_MS),
    st.sampled_from([EventKind.STOP, EventKind.HALT]),
    st.integers(0, 2000),
    st.integers(0, 99),
)
def test_a_request_at_any_moment(
    tmp_path_factory: pytest.TempPathFactory, moment_ms: int, pressed: EventKind, later_ms: int, seed: int
) -> None:
    world = world_of(BRACKET, seed=seed)
    first = request_at(world, moment_ms * 1_000_000, pressed)
    second = request_at(world, (moment_ms + later_ms) * 1_000_000, EventKind.HALT)
    done = run(world, tmp_path_factory.mktemp("run"), lambda: first() or second())
    ended_ns, made = done.result.ended_ns, len(world.truth)
    let_pass(world.port, 60.0)
    assert all(axis.motion.end_ns <= ended_ns for axis in (world.rig.head.pan, world.rig.head.tilt))
    assert len(world.truth) - made <= 1  # an open shutter closes at its own time
    claimed = [(s.intent.frame, s.intent.exposure) for s in done.shots if s.outcome is ShotOutcome.CONFIRMED]
    true = [(shot.frame, shot.exposure) for shot in world.truth]
    assert claimed == true[: len(claimed)]
    if done.result.complete:
        assert_truly_made(BRACKET, few_frames(), world.truth)
    else:
        assert done.result.sentence.startswith(("Stopped as asked", "Halted as asked"))


def test_a_board_that_still_speaks_of_an_earlier_run(tmp_path: Path) -> None:
    world = world_of(BRACKET)
    kind, payload = encode_message(Held(Cause.HOST_SILENCE, Steps(5), Steps(5), 77))
    world.rig.to_host.send(0, encode_frame(kind, 0, payload))
    done = run(world, tmp_path)
    assert done.result.complete
    assert_truly_made(BRACKET, few_frames(), world.truth)
