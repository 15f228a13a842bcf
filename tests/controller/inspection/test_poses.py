"""Rotations against the head's own kinematics, scipy, and differences."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.inspection.poses import (
    HEAD_TERMS,
    HeadFrame,
    angle_axes,
    angles_of,
    commanded,
    head_covariances,
    pan_axis,
    predicted,
    turn_of,
)
from controller.program.kinematics import reached

angles = st.floats(-179, 179)
pitches = st.floats(-89, 89)


def frame_at(pan: float, tilt: float, lean: float, toward: float, side: int = 0) -> HeadFrame:
    pose = reached(pan, tilt, lean, toward)
    return HeadFrame(pose.yaw_deg, pose.pitch_deg, pose.roll_deg, 0.02, 0.01, 0.03, pan, tilt, side, side)


@given(angles, st.one_of(pitches, st.sampled_from([90.0, -90.0])), angles)
def test_angles_return_from_their_rotation(yaw: float, pitch: float, roll: float) -> None:
    rotation = commanded([HeadFrame(yaw, pitch, roll, 1, 1, 1, 0, 0)])
    back = angles_of(rotation)[0]
    again = commanded([HeadFrame(float(back[0]), float(back[1]), float(back[2]), 1, 1, 1, 0, 0)])
    assert np.abs(again - rotation).max() < 1e-7
    if abs(pitch) < 90:
        assert np.abs(np.remainder(back - (yaw, pitch, roll) + 180, 360) - 180).max() < 1e-6


@given(angles, pitches, angles)
def test_axes_of_the_angles_are_their_derivatives(yaw: float, pitch: float, roll: float) -> None:
    start = commanded([HeadFrame(yaw, pitch, roll, 1, 1, 1, 0, 0)])
    for column in range(3):
        step = np.zeros(3)
        step[column] = 1e-4
        there = [yaw + step[0], pitch + step[1], roll + step[2]]
        more = commanded([HeadFrame(there[0], there[1], there[2], 1, 1, 1, 0, 0)])
        turn = turn_of(start.transpose(0, 2, 1) @ more)[0] / np.radians(1e-4)
        assert np.abs(turn - angle_axes(start)[0, :, column]).max() < 1e-4


@given(angles, pitches, st.floats(0, 10), angles, st.floats(-0.01, 0.01), st.floats(-0.01, 0.01))
def test_scales_are_those_of_a_head_that_leans(
    pan: float, tilt: float, lean: float, toward: float, pan_scale: float, tilt_scale: float
) -> None:
    """A head that turns further, by the kinematics of the program, is where the terms put it."""
    frames = [frame_at(pan, tilt, lean, toward), frame_at(-pan, -tilt, lean, toward)]
    moved = [frame_at(sign * pan * (1 + pan_scale), sign * tilt * (1 + tilt_scale), lean, toward) for sign in (1, -1)]
    terms = np.array([pan_scale, tilt_scale, *[0.0] * 9])
    found, _ = predicted(frames, pan_axis(lean, toward), terms)
    assert np.abs(found - commanded(moved)).max() < 1e-7


@settings(max_examples=50)
@given(angles, pitches, st.floats(0, 10), angles, st.lists(st.floats(-0.02, 0.02), min_size=11, max_size=11))
def test_terms_turn_frames_as_their_derivatives_say(
    pan: float, tilt: float, lean: float, toward: float, terms: list[float]
) -> None:
    frames = [frame_at(pan, tilt, lean, toward, 1), frame_at(pan / 2, tilt / 3, lean, toward, -1)]
    axis = pan_axis(lean, toward)
    start, by_terms = predicted(frames, axis, np.array(terms))
    for column in range(len(HEAD_TERMS)):
        if column in {2, 3, 4}:
            continue  # turns of the mount add up only at zero: tested by the fits
        step = np.zeros(len(HEAD_TERMS))
        step[column] = 1e-6
        more, _ = predicted(frames, axis, np.array(terms) + step)
        turn = turn_of(start.transpose(0, 2, 1) @ more) / 1e-6
        assert np.abs(turn - by_terms[:, :, column]).max() < 1e-5


@given(angles, st.floats(-90, 90), angles)
def test_covariances_of_the_head_can_be_weights(yaw: float, pitch: float, roll: float) -> None:
    covariance = head_covariances([HeadFrame(yaw, pitch, roll, 0.05, 0.02, 0.03, yaw, pitch)])
    values = np.linalg.eigvalsh(covariance)[0]
    assert values[0] >= np.radians(0.002 * 0.99) ** 2
    assert values[2] <= np.radians(0.05 + 0.03) ** 2
