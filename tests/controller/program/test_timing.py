"""Predicted times compared with the simulator's motors and with the textbook's table."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from controller.commands.stand_in import rig_spec
from controller.errors import InputError
from controller.kit.kit import LONGEST_OF_NOMINAL
from controller.kit.line import TRIES, retry_ns
from controller.program.timing import (
    axis_accel,
    axis_speed,
    deadline_ns,
    motion_ns,
    settle_ns,
    wire_ns,
)
from protocol.messages import GetStatus, Stop
from protocol.units import NS
from sim.head import SimulatedHead
from sim.motors import move
from sim.truth import STILL_PX
from tests.end_to_end.whole_runs import kit_of


# Biagiotti and Melchiorri, *Trajectory Planning for Automatic Machines and Robots*, Springer 2008, section 3.2.
@pytest.mark.parametrize(
    ("distance", "speed", "accel", "seconds"),
    [(90, 30, 60, 3.5), (10, 30, 60, 0.816497), (1, 30, 60, 0.258199), (180, 60, 40, 4.5)],
)
def test_the_table_of_trapezoids(distance: float, speed: float, accel: float, seconds: float) -> None:
    assert motion_ns(distance, speed, accel) / NS == pytest.approx(seconds, abs=5e-7)
    assert motion_ns(-distance, speed, accel) == motion_ns(distance, speed, accel)


def test_no_way_takes_no_time() -> None:
    assert motion_ns(0, 30, 60) == 0


@given(st.integers(-(10**7), 10**7), st.integers(1, 10**6), st.integers(1, 10**7))
def test_a_move_takes_as_long_as_the_simulated_motors_need(distance: int, speed: int, accel: int) -> None:
    motion = move(0, 0, distance, speed, accel)
    assert motion_ns(distance, speed, accel) == pytest.approx(motion.end_ns, rel=1e-12, abs=2)


def test_speed_is_what_head_and_board_can_both_do() -> None:
    axis = kit_of(head={"pan": {"max_speed_deg_s": 30.0, "max_accel_deg_s2": 40.0}}).head.pan
    assert axis.steps_per_degree == 320.0
    assert axis_speed(axis, 20_000) == 9600
    assert axis_speed(axis, 5000) == 5000
    assert axis_accel(axis) == 12_800


def test_even_the_slowest_axis_turns() -> None:
    slow = {"max_speed_deg_s": 0.01, "max_accel_deg_s2": 0.01, "measured_steps_per_degree": 0.1}
    axis = kit_of(head={"pan": slow}).head.pan
    assert (axis_speed(axis, 100), axis_accel(axis)) == (1, 1)


BAUDS = st.sampled_from([1200, 9600, 115_200, 4_000_000])


@given(st.integers(0, 10**15), BAUDS)
def test_a_dead_line_shows_itself_before_any_deadline(expected_ns: int, baud: int) -> None:
    """A quarter and a second more than expected, then time for every unanswered try to send and to ask."""
    assert deadline_ns(expected_ns, baud) >= 1.25 * expected_ns + NS + 2 * TRIES * retry_ns(baud) - 1
    assert deadline_ns(expected_ns + 10, baud) >= deadline_ns(expected_ns, baud)


# 8N1 is ten bit times a byte (arithmetic); the longest frame has 43 bytes, protocol/SPEC.md section 1.
@pytest.mark.parametrize(("baud", "milliseconds"), [(1200, 966.667), (9600, 339.583), (115_200, 257.465)])
def test_a_repeat_waits_for_both_frames_and_the_board(baud: int, milliseconds: float) -> None:
    assert retry_ns(baud) / 1e6 == pytest.approx(milliseconds, abs=0.001)
    assert retry_ns(baud) > 2 * 430 * NS // baud + 20_000_000  # the board's own 20 ms, protocol/SPEC.md section 7


@given(st.integers(1200, 4_000_000))
def test_the_least_patience_of_a_board_outlasts_every_try(baud: int) -> None:
    with pytest.raises(InputError) as caught:
        kit_of(board={"baud": baud, "silence_ms": 100})
    (sentence,) = caught.value.sentences
    assert f"baud = {baud}" in sentence
    found = re.search(r"(\d+) or more", sentence)
    assert found is not None
    least_ms = int(found[1])
    assert least_ms * 1_000_000 >= TRIES * retry_ns(baud) - TRIES
    kit_of(board={"baud": baud, "silence_ms": least_ms})
    with pytest.raises(InputError):
        kit_of(board={"baud": baud, "silence_ms": least_ms - 1})


def test_the_longest_exposure_of_an_engraved_time() -> None:
    """30 s is really 32 s: third stops are engraved rounded (the series against exact powers of two)."""
    assert pytest.approx(32, rel=1e-12) == 30 * LONGEST_OF_NOMINAL
    engraved = {15: 16, 1 / 15: 1 / 16, 1 / 30: 1 / 32, 1 / 60: 1 / 64, 6: 2 ** (8 / 3), 30: 32}
    for nominal, exact in engraved.items():
        assert exact <= nominal * LONGEST_OF_NOMINAL * (1 + 1e-9)


# 8N1 is ten bit times a byte (arithmetic): Stop is eleven bytes on the wire.
@pytest.mark.parametrize(("baud", "byte_us"), [(9600, 1041.667), (115200, 86.806), (1_000_000, 10.0)])
def test_a_message_takes_its_bytes_on_the_wire(baud: int, byte_us: float) -> None:
    assert wire_ns(Stop(), baud) / 1000 == pytest.approx(11 * byte_us, rel=1e-5)
    assert wire_ns(GetStatus(), baud) == wire_ns(Stop(), baud)


def test_the_kits_own_settling_time_counts() -> None:
    assert settle_ns(kit_of(head={"settle_ms": 123.5})) == 123_500_000
    assert settle_ns(kit_of(head={"settle_ms": 0})) == 0


# t = ln(amplitude / wanted) / (z w) (Thomson and Dahleh, *Theory of Vibration with Applications*, section 2.6).
def test_settling_follows_the_decay() -> None:
    slack, taut = (settle_ns(kit_of(head={"ring_hz": 8.0, "ring_damping": d})) for d in (0.02, 0.04))
    assert slack == pytest.approx(2 * taut, rel=1e-3)
    seconds = [
        settle_ns(kit_of(head={"pan": {"max_accel_deg_s2": a}, "tilt": {"max_accel_deg_s2": a}})) / NS
        for a in (40.0, 80.0)
    ]
    assert seconds[1] - seconds[0] == pytest.approx(math.log(2) / (0.05 * math.tau * 8.0), rel=1e-6)


@pytest.mark.parametrize(("ring_hz", "damping"), [(3.0, 0.02), (8.0, 0.05), (20.0, 0.3)])
@pytest.mark.parametrize("focal_length_mm", [15.0, 100.0])
def test_settling_is_four_steps_of_acceleration_dying_away_to_a_quarter_of_a_pixel(
    ring_hz: float, damping: float, focal_length_mm: float
) -> None:
    """Each step leaves a swing of a / w^2 about its middle, to either side, over sqrt(1 - z^2) (Thomson and Dahleh)."""
    kit = kit_of(focal_length_mm, head={"ring_hz": ring_hz, "ring_damping": damping})
    omega = math.tau * ring_hz
    swing_deg = 2 * (4 * math.hypot(40.0, 40.0) / omega**2) / math.sqrt(1 - damping**2)
    pixel_deg = math.degrees(36.0 / 6000 / focal_length_mm)
    expected_s = math.log(swing_deg / (0.25 * pixel_deg)) / (damping * omega)
    assert settle_ns(kit) / NS == pytest.approx(max(0.0, expected_s), rel=1e-3)


MOVES = st.lists(st.tuples(st.floats(-40, 40), st.floats(-40, 40)), min_size=1, max_size=4)


@settings(max_examples=150)
@given(
    MOVES,
    st.floats(0.5, 50),
    st.floats(0.005, 0.95),
    st.floats(1, 120),
    st.floats(2, 800),
    st.floats(14, 200),
    st.floats(0.001, 3.0),
)
def test_after_settling_the_picture_is_still(
    moves: list[tuple[float, float]],
    ring_hz: float,
    damping: float,
    speed: float,
    accel: float,
    focal_length_mm: float,
    shutter_s: float,
) -> None:
    axis = {"max_speed_deg_s": speed, "max_accel_deg_s2": accel}
    kit = kit_of(
        focal_length_mm,
        head={"ring_hz": ring_hz, "ring_damping": damping, "pan": axis, "tilt": axis},
        board={"max_step_rate_hz": 1_000_000},
    )
    assume(settle_ns(kit) > 0)
    head = SimulatedHead(rig_spec(kit, 0).head, 0, 0)
    now_ns = 0
    for target in moves:
        for motor, described, angle in zip((head.pan, head.tilt), (kit.head.pan, kit.head.tilt), target, strict=True):
            goal = round(angle * described.steps_per_degree)
            motor.begin(move(now_ns, motor.motion.target, goal, axis_speed(described, 10**6), axis_accel(described)))
        now_ns = max(now_ns, head.pan.motion.end_ns, head.tilt.motion.end_ns) + settle_ns(kit)
        seen = min(head.motion_bound_px(now_ns), head.motion_px(now_ns, now_ns + round(shutter_s * NS)))
        assert seen < STILL_PX
