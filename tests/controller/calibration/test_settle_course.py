"""The moves that are made to measure how a head rings: inside the limits, from one side, and large enough to see."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.calibration.records import AxisName
from controller.calibration.settle_course import CourseMove, course, shapers_to_test, way_steps
from controller.errors import InputError
from controller.kit.kit import Kit
from controller.program.build import build_program
from controller.program.kinematics import angles_of_steps, pose_at
from controller.program.program import Settings, slowed
from controller.shaping.ringing import Mode
from controller.shaping.shapers import zvd
from protocol.shaper import PLAIN
from protocol.units import NS
from sim.axis import AxisSpec
from sim.head import HeadSpec, SimulatedHead
from sim.shaped import shaped
from tests.controller.kit.tables import kit_with

SHAPER = zvd(Mode(6.0, 0.04))


def made(values: dict[str, Any], pitches: tuple[float, ...]) -> tuple[Kit, Settings, tuple[CourseMove, ...]]:
    kit = kit_with(values)
    head = slowed(build_program(kit, ())).axes
    return kit, head, course(kit, head, (SHAPER, SHAPER), AxisName, pitches)


@given(
    st.floats(1.0, 20.0),
    st.floats(0.01, 0.2),
    st.floats(-85, 85),
    st.sampled_from([(-370.0, 370.0), (0.0, 90.0), (-30.0, -5.0)]),
    st.sampled_from([0.0, 0.5, 3.0]),
)
@settings(max_examples=25, deadline=None)
def test_every_move_is_inside_the_limits_and_comes_from_one_side(
    hz: float, damping: float, pitch_deg: float, limits: tuple[float, float], play_deg: float
) -> None:
    values = {
        "head.ring_hz": hz, "head.ring_damping": damping, "head.pan.min_deg": limits[0], "head.pan.max_deg": limits[1],
        "head.tilt.min_deg": -90.0, "head.tilt.max_deg": 90.0, "head.pan.backlash_deg": play_deg,
        "head.tilt.backlash_deg": play_deg,
    }  # fmt: skip
    kit, head, moves = made(values, (pitch_deg,))
    assert [(move.move.axis, move.move.is_plain) for move in moves] == [
        (axis, plain) for axis in AxisName for plain in (True, False)
    ]
    for move in moves:
        places = (*move.before, move.end)
        for number, (setting, axis) in enumerate(zip(head, AxisName, strict=True)):
            steps = [place[number] for place in places]
            assert all(setting.min_steps <= each <= setting.max_steps for each in steps)
            turns = np.diff(steps)
            if axis is move.move.axis:
                assert len(set(np.sign(turns))) == 1  # the play stays on one side
                lead_deg = abs(turns[0]) / setting.steps_per_degree
                assert lead_deg >= max(2.0, 2 * play_deg) - 1 / setting.steps_per_degree
            else:
                assert not turns.any()
                assert move.shapers[number] == PLAIN
        tilt_deg = move.end[1] / head[1].steps_per_degree
        assert tilt_deg == pytest.approx(pitch_deg, abs=0.01)
        assert move.quiet_ns / NS <= 60
        assert kit.head.ring_hz == hz


@given(st.floats(2.0, 12.0), st.floats(0.7, 1.3), st.floats(0.01, 0.1))
@settings(max_examples=25, deadline=None)
def test_the_swing_is_seen_though_the_frequency_is_off(stated_hz: float, share: float, damping: float) -> None:
    """In the simulator, the move leaves at least half of the most that its acceleration can, 4 a / w^2."""
    kit = kit_with({"head.ring_hz": stated_hz, "head.ring_damping": damping})
    pan, _ = slowed(build_program(kit, ())).axes
    steps = way_steps(pan, [Mode(stated_hz, damping, 0.1, 0.5)])
    hz = stated_hz * share
    axis = AxisSpec(pan.steps_per_degree)
    head = SimulatedHead(HeadSpec(axis, axis, hz, damping, pixel_deg=0.01), 0, 0)
    head.pan.begin(shaped(0, 0, steps, pan.speed_steps_s, pan.accel_steps_s2, PLAIN))
    end_ns = head.pan.motion.end_ns
    swung = [head.pose_deg(end_ns + round(t / hz / 40 * NS))[0] for t in range(40)]
    most = 4 * pan.accel_steps_s2 / pan.steps_per_degree / (2 * math.pi * hz) ** 2
    assert np.ptp(swung) / 2 >= 0.4 * most * math.exp(-damping * math.pi)


@pytest.mark.parametrize("toward_deg", [0.0, 90.0, 180.0])
def test_the_camera_is_at_the_pitch_on_a_leaning_head(toward_deg: float) -> None:
    kit, _, moves = made({"head.lean_deg": 3.0, "head.lean_toward_deg": toward_deg}, (20.0,))
    for move in moves:
        pose = pose_at(kit.head, *angles_of_steps(kit.head, *move.end))
        assert pose.pitch_deg == pytest.approx(20.0, abs=0.01)


def test_pitches_are_sorted_and_each_is_measured_once() -> None:
    _, _, moves = made({}, (60.0, 0.0, 60.0))
    assert [move.move.pitch_deg for move in moves] == [0.0] * 4 + [60.0] * 4


def test_a_pitch_without_room_is_refused() -> None:
    kit = kit_with({"head.tilt.min_deg": -10.0, "head.tilt.max_deg": 45.0})
    head = slowed(build_program(kit, ())).axes
    for pitch_deg in (60.0, -45.0):
        with pytest.raises(InputError, match=rf"--pitch {pitch_deg:g}: there is no room to move the tilt axis there"):
            course(kit, head, (PLAIN, PLAIN), AxisName, (pitch_deg,))
    narrow = kit_with({"head.pan.min_deg": -0.5, "head.pan.max_deg": 0.5})
    head = slowed(build_program(narrow, ())).axes
    with pytest.raises(InputError, match="no room to move the pan axis"):
        course(narrow, head, (PLAIN, PLAIN), (AxisName.PAN,), (0.0,))


def test_an_axis_without_a_shaper_gets_plain_moves_only() -> None:
    kit = kit_with({"board.shapes_ramps": False})
    head = slowed(build_program(kit, ())).axes
    assert shapers_to_test(kit, head, 1 / 60) == (PLAIN, PLAIN)
    moves = course(kit, head, (PLAIN, SHAPER), AxisName, (0.0,))
    assert [(move.move.axis, move.move.is_plain) for move in moves] == [
        (AxisName.PAN, True),
        (AxisName.TILT, True),
        (AxisName.TILT, False),
    ]


@pytest.mark.parametrize(("damping", "shapes"), [(0.05, True), (0.95, False)])
def test_a_kit_that_needs_no_shaper_still_has_one_to_test(damping: float, shapes: bool) -> None:
    """Its own `settle_ms` counts, so that its plans use none; a head that hardly swings cannot have one."""
    kit = kit_with({"head.settle_ms": 500.0, "head.ring_damping": damping})
    found = shapers_to_test(kit, slowed(build_program(kit, ())).axes, 1 / 60)
    assert [shaper != PLAIN for shaper in found] == [shapes, shapes]
