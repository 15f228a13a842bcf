"""What a program expects of each step, against what the simulated rig then does."""

from __future__ import annotations

from pathlib import Path
from statistics import mean
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.kit.kit import Kit
from controller.planning.plan import Frame
from controller.program.build import axis_settings, build_program, build_steps, home_steps, step_ends_ns
from controller.program.program import ExposeStep, MoveStep
from controller.program.timing import deadline_ns, wire_ns
from protocol.codec import decode_message
from protocol.framing import Deframer
from protocol.messages import EdgeFlag, Expose, Finished, GetIndex, Hello, Index, Message, Move, Reference
from protocol.units import MS, NS, Steps
from sim.motors import at_rest
from sim.rig import Rig
from sim.virtual_port import VirtualPort
from tests.end_to_end.whole_runs import World, few_frames, kit_of, run, world_of


class NotingPort(VirtualPort):
    """Notes when each message was sent and heard."""

    def __init__(self, rig: Rig) -> None:
        super().__init__(rig)
        self.sent: list[tuple[int, Message]] = []
        self.heard: list[tuple[int, Message]] = []
        self._deframer = Deframer()

    def write(self, data: bytes) -> None:
        self.sent += [(self.now(), decode_message(one.kind, one.payload)) for one in Deframer().feed(data)]
        super().write(data)

    def wait_bytes(self, deadline_ns: int | None) -> bytes:
        data = super().wait_bytes(deadline_ns)
        self.heard += [(self.now(), decode_message(one.kind, one.payload)) for one in self._deframer.feed(data)]
        return data

    def took_ns(self, kind: type[Reference] | type[Move] | type[Expose]) -> list[int]:
        """How long each command of a kind took, from sending it to hearing of its end."""
        ends = {message.command_id: at_ns for at_ns, message in self.heard if isinstance(message, Finished)}
        begins = {message.command_id: at_ns for at_ns, message in reversed(self.sent) if isinstance(message, kind)}
        return [ends[one] - begins[one] for one in sorted(begins)]


def whole_run(kit: Kit, folder: Path, frames: tuple[Frame, ...] | None = None) -> tuple[World, NotingPort, float]:
    """A run without any trouble, and the seconds it took."""
    folder.mkdir(exist_ok=True)
    world = world_of(kit, frames, port_of=NotingPort)
    done = run(world, folder)
    assert done.result.complete
    assert isinstance(world.port, NotingPort)
    return world, world.port, done.result.seconds


PLAY = {"backlash_deg": 0.3}
KITS: dict[str, dict[str, Any]] = {
    "as it is": {},
    "a slow line": {"board": {"baud": 9600}},
    "with play": {"head": {"pan": PLAY, "tilt": PLAY}},
    "pan slower than tilt": {"head": {"pan": {"max_speed_deg_s": 3.0}}},
    "a bracket": {"exposure": {"bracket_ev": [-2, 0, 2], "shutter_seconds": 0.5, "ready_ms": 700, "focus_ms": 300}},
    "at bulb": {"exposure": {"bulb": True, "shutter_seconds": 2.5, "release_lag_ms": 80}},
    "no contact": {"board": {"sync_contact": False}, "exposure": {"shutter_seconds": 1.0}},
    "dark frames": {"exposure": {"noise_reduction": True, "noise_reduction_from_s": 1.0, "shutter_seconds": 2.0}},
}


@pytest.mark.parametrize("name", KITS)
def test_each_step_takes_what_was_expected_of_it(name: str, tmp_path: Path) -> None:
    """To a few milliseconds: a board rounds ramps to steps, and tells of an end after a reply that is under way."""
    kit = kit_of(**KITS[name])
    reply_ns = 43 * 10 * NS // kit.board.baud  # the longest
    world, port, seconds = whole_run(kit, tmp_path)
    steps = world.program.steps
    for kind, step_kind in ((Move, MoveStep), (Expose, ExposeStep)):
        expected = [step.expected_ns for step in steps if isinstance(step, step_kind)]
        assert port.took_ns(kind) == pytest.approx(expected, abs=max(5 * MS, reply_ns))
    (reference_ns,) = port.took_ns(Reference)
    hello_ns = next(at_ns for at_ns, message in port.sent if isinstance(message, Hello))
    assert hello_ns == 0
    # Finding zero depends on where the head was; everything else is known beforehand, to a hundredth.
    whole_s = seconds - (reference_ns - world.program.reference_expected_ns) / NS
    assert world.program.expected_ns / NS == pytest.approx(whole_s, rel=0.01, abs=0.1)
    assert max(step.expected_ns for step in steps if isinstance(step, MoveStep)) <= world.program.longest_move_ns


@pytest.mark.parametrize(("speed", "accel"), [(30.0, 40.0), (3.0, 40.0), (30.0, 10.0)])
def test_finding_zero_takes_what_it_takes_from_a_degree_away(speed: float, accel: float, tmp_path: Path) -> None:
    """The mean of both sides, to a tenth, against the simulated board that searches."""
    axis = {"max_speed_deg_s": speed, "max_accel_deg_s2": accel}
    kit = kit_of(head={"pan": axis, "tilt": axis})
    took_ns, expected_ns = [], []
    for side_deg in (-1, 1):
        world = world_of(kit, few_frames()[:1], port_of=NotingPort)
        head = world.rig.head
        for motors in (head.pan, head.tilt):
            motors.begin(at_rest(320 * side_deg))
        folder = tmp_path / str(side_deg)
        folder.mkdir()
        assert run(world, folder).result.complete
        assert isinstance(world.port, NotingPort)
        took_ns += world.port.took_ns(Reference)
        expected_ns.append(world.program.reference_expected_ns)
    assert mean(took_ns) == pytest.approx(mean(expected_ns), rel=0.1)


# A search goes over the whole travel and back, and never less than a whole turn (protocol/SPEC.md, Reference).
@pytest.mark.parametrize(
    ("pan", "tilt", "travel_deg"),
    [
        ((-370, 370), (-95, 95), 740),
        ((10, 20), (-95, 95), 360),
        ((-400, 0), (-95, 95), 400),
        ((-300, -200), (-20, -10), 360),
        ((-10, 10), (-200, 300), 500),
    ],
)
def test_finding_zero_is_overdue_after_the_whole_travel(
    pan: tuple[int, int], tilt: tuple[int, int], travel_deg: int
) -> None:
    limits = {name: {"min_deg": low, "max_deg": high} for name, (low, high) in (("pan", pan), ("tilt", tilt))}
    frame = Frame(id=0, row=0, yaw_deg=0, pitch_deg=0).model_copy(update={"by_hand": True})
    program = build_program(kit_of(head=limits), [frame])
    search_ns = round(2 * travel_deg / 10 * NS)  # a third of 30 degrees a second
    assert program.reference_deadline_ns == deadline_ns(search_ns, program.kit.board.baud)
    assert program.pan_search_steps_s == program.tilt_search_steps_s == 3200


def test_a_stop_is_overdue_after_the_longest_ramp() -> None:
    """From full speed to rest takes v / a."""
    for pan, tilt, ramp_s in (((30, 40), (30, 10), 3.0), ((60, 20), (30, 40), 3.0), ((7, 4), (7, 4), 1.75)):
        head = {
            name: {"max_speed_deg_s": speed, "max_accel_deg_s2": accel}
            for name, (speed, accel) in (("pan", pan), ("tilt", tilt))
        }
        program = build_program(kit_of(head=head, board={"max_step_rate_hz": 100_000}), few_frames())
        assert program.stop_deadline_ns == deadline_ns(round(ramp_s * NS), program.kit.board.baud)


PLACES = st.tuples(st.integers(-60_000, 60_000), st.integers(-28_000, 28_000))


@given(PLACES, st.booleans(), st.booleans(), st.sampled_from([0.0, 0.5]))
def test_an_axis_goes_home_and_the_other_one_rests(
    standing: tuple[int, int], pan_home: bool, tilt_home: bool, play_deg: float
) -> None:
    """Of an axis with play zero is met from below; the other one may only turn up by the step that takes up its own."""
    play = {"backlash_deg": play_deg}
    kit = kit_of(head={"pan": play, "tilt": play})
    moves = home_steps(build_program(kit, few_frames()[:1]), few_frames()[0], standing, (pan_home, tilt_home))
    assert moves
    assert {(move.frame, move.row, move.settle_ns, move.looks) for move in moves} == {(0, 0, 0, False)}
    ways = [[standing[axis], *((one.pan_steps, one.tilt_steps)[axis] for one in moves)] for axis in (0, 1)]
    for way, home in zip(ways, (pan_home, tilt_home), strict=True):
        assert way[-1] == (0 if home else way[0])
        if play_deg:  # wherever it was, it comes from below, by more than the play
            assert min(way[1:]) <= way[-1] - play_deg * 320
        else:
            assert len(way) == 2
    for move in moves:
        assert move.deadline_ns == deadline_ns(move.expected_ns, kit.board.baud)


def test_an_exposure_needs_the_cameras_time_before_the_next_one_and_not_after_the_last() -> None:
    """The camera gets ready while the head turns: only what is left of that is waited for."""
    kit = kit_of(exposure={"bracket_ev": [0, 1], "ready_ms": 5000})
    frames = few_frames()[:2]
    steps = build_steps(
        kit, frames, {(frame.id, number) for frame in frames for number in (0, 1)}, axis_settings(kit, frames)
    )
    ends = step_ends_ns(steps, kit.board.baud)
    total, free_at = 0, 0
    for step, end_ns, after in zip(steps, ends, [*steps[1:], None], strict=True):
        if isinstance(step, ExposeStep):
            total = max(total, free_at) + step.expected_ns
            free_at = total + step.ready_ns
        else:
            assert isinstance(step, MoveStep)
            asking = GetIndex(), Index(1, Steps(1), EdgeFlag.ON, 1, Steps(1), EdgeFlag.ON)
            total += step.expected_ns + step.looks * sum(wire_ns(one, kit.board.baud) for one in asking)
            total += 0 if isinstance(after, MoveStep) else step.settle_ns
        assert end_ns == total
    assert len([step for step in steps if isinstance(step, MoveStep) and step.looks]) >= 1
