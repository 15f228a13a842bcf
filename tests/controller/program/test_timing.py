"""Predicted times compared with the simulator's motors and with the textbook's table."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import InputError
from controller.kit.kit import LONGEST_OF_NOMINAL
from controller.kit.line import TRIES, retry_ns
from controller.program.timing import (
    axis_accel,
    axis_speed,
    deadline_ns,
    motion_ns,
    wire_ns,
)
from protocol.messages import GetStatus, Stop
from protocol.units import NS
from sim.motors import move
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
