"""The operator is heard at once, also in the middle of a long move, and also when the line loses what he says."""

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


def wish_at(world: World, moment_ns: int, wish: EventKind) -> Callable[[], Wanted | None]:
    """An operator who presses a key at that moment, once."""
    world.port.wake_at(moment_ns)
    pressed = False

    def operator() -> Wanted | None:
        nonlocal pressed
        if pressed or world.port.now() < moment_ns:
            return None
        pressed = True
        return Wanted(wish)

    return operator


def wished(wish: EventKind, folder: Path, port_of: Callable[[Rig], VirtualPort] = VirtualPort) -> tuple[World, Done]:
    """A run to a far frame with a wish on the way."""
    world = world_of(KIT, FAR, port_of=port_of)
    done = run(world, folder, wish_at(world, MOMENT_NS, wish))
    assert [h.state for h in done.happenings] == [
        *["connecting", "arming", "referencing", "checking", "moving", "stopping", "failed"]
    ]
    assert done.happenings[-2].at_ns == MOMENT_NS
    return world, done


def nothing_follows(world: World) -> None:
    """Nothing is exposed and nothing moves from now on."""
    motions = (world.rig.head.pan.motion, world.rig.head.tilt.motion)
    let_pass(world.port, 120.0)
    assert world.truth == []
    assert (world.rig.head.pan.motion, world.rig.head.tilt.motion) == motions


def test_a_stop_in_a_long_move_brakes_from_that_moment(tmp_path: Path) -> None:
    world, done = wished(EventKind.STOP, tmp_path)
    braking = world.rig.head.pan.motion
    heard_ns = MOMENT_NS + wire_ns(Stop(), KIT.board.baud)
    assert braking.begin_ns == pytest.approx(heard_ns, abs=1000)
    (leg,) = braking.legs
    assert braking.speed_at(braking.begin_ns) == pytest.approx(world.program.pan.speed_steps_s)
    assert leg.accel == pytest.approx(-world.program.pan.accel_steps_s2, rel=0.001)
    # v / a until rest (Biagiotti and Melchiorri 2008, section 3.2), and then 20 ms at most until that is known.
    assert braking.end_ns - braking.begin_ns == pytest.approx(0.75 * NS, rel=0.001)
    assert braking.end_ns < done.result.ended_ns < braking.end_ns + 30_000_000
    assert (done.result.complete, done.result.sentence) == (False, "Stopped as asked.")
    nothing_follows(world)


def test_a_halt_in_a_long_move_ends_the_pulses_at_that_moment(tmp_path: Path) -> None:
    world, done = wished(EventKind.HALT, tmp_path)
    rest = world.rig.head.pan.motion
    assert rest.begin_ns == rest.end_ns == pytest.approx(MOMENT_NS + wire_ns(Halt(), KIT.board.baud), abs=1000)
    assert 0 < rest.target < 300 * 320
    assert done.result.ended_ns < rest.end_ns + 30_000_000
    assert "no longer known" in done.result.sentence
    nothing_follows(world)


@pytest.mark.parametrize("lost", [1, 2, 5])
@pytest.mark.parametrize(("wish", "kind"), [(EventKind.STOP, Stop), (EventKind.HALT, Halt)])
def test_a_wish_that_gets_lost_is_repeated(wish: EventKind, kind: type[Stop | Halt], lost: int, tmp_path: Path) -> None:
    world, done = wished(wish, tmp_path, lambda rig: MuffledPort(rig, the_first(lost, kind)))
    begun_ns = world.rig.head.pan.motion.begin_ns
    waited_ns = lost * world.program.retry_ns + wire_ns(kind(), KIT.board.baud)
    assert begun_ns == pytest.approx(MOMENT_NS + waited_ns, abs=1000)
    assert ("Halted" if wish is EventKind.HALT else "Stopped") in done.result.sentence
    status = world.rig.board._status(world.port.now())
    assert status.state is BoardState.DISARMED
    assert status.cause is (Cause.HOST_HALT if wish is EventKind.HALT else Cause.HOST_STOP)
    nothing_follows(world)


@pytest.mark.parametrize(("wish", "kind"), [(EventKind.STOP, Stop), (EventKind.HALT, Halt)])
def test_a_wish_that_the_board_never_hears_is_told_so(wish: EventKind, kind: type[Stop | Halt], tmp_path: Path) -> None:
    _, done = wished(wish, tmp_path, lambda rig: MuffledPort(rig, the_first(99, kind)))
    assert "does not answer" in done.result.sentence
    assert done.happenings[-1].what == "link_lost"


BRACKET = kit_of(exposure={"bracket_ev": [0, 1]})
FIRST_MS, LAST_MS = 20, 33_000  # from when the board is armed until past the end of the run


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.integers(FIRST_MS, LAST_MS),
    st.sampled_from([EventKind.STOP, EventKind.HALT]),
    st.integers(0, 2000),
    st.integers(0, 99),
)
def test_a_wish_at_any_moment(
    tmp_path_factory: pytest.TempPathFactory, moment_ms: int, wish: EventKind, later_ms: int, seed: int
) -> None:
    world = world_of(BRACKET, seed=seed)
    first = wish_at(world, moment_ms * 1_000_000, wish)
    second = wish_at(world, (moment_ms + later_ms) * 1_000_000, EventKind.HALT)
    done = run(world, tmp_path_factory.mktemp("run"), lambda: first() or second())
    ended_ns, made = done.result.ended_ns, len(world.truth)
    let_pass(world.port, 60.0)
    assert all(axis.motion.end_ns <= ended_ns for axis in (world.rig.head.pan, world.rig.head.tilt))
    assert len(world.truth) - made <= 1  # a shutter that was open closes in its own time
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
