"""How well poses are known, against made-up sets; the uncertainty of angles against random turns."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.inspection.adjustment import adjust
from controller.inspection.pose_checks import (
    ANYTHING_DEG,
    _of_angles,
    commanded_known,
    off_pose,
    poses_known,
    poses_within,
)
from controller.inspection.poses import HeadFrame, angle_axes, commanded, pan_axis, turn_of
from tests.controller.inspection.sets import ASSUMED, grid, make

AXIS = pan_axis(0, 0)
ROWS = (np.arange(0, 150, 25.0), np.array([-15.0, 10.0]))


@given(st.floats(-179, 179), st.floats(-89, 89), st.floats(-179, 179), st.integers(0, 99))
@settings(max_examples=60)
def test_uncertainties_of_angles_are_those_of_the_turn(yaw: float, pitch: float, roll: float, seed: int) -> None:
    """By the inverse of the angles' axes, which exists away from the poles."""
    rotation = commanded([HeadFrame(yaw, pitch, roll, 1, 1, 1, 0, 0)])
    spread = np.random.default_rng(seed).normal(size=(3, 3)) * 1e-4
    inverse = np.linalg.inv(angle_axes(rotation)[0])
    due = np.degrees(np.sqrt((inverse @ spread @ spread.T @ inverse.T).diagonal()))
    found = _of_angles(rotation, (spread @ spread.T)[None])[0]
    assert found == pytest.approx(np.minimum(due, ANYTHING_DEG), rel=1e-5)


@pytest.mark.parametrize("pitch", [90.0, -90.0])
def test_yaw_and_roll_are_unknown_at_a_pole(pitch: float) -> None:
    rotation = commanded([HeadFrame(20.0, pitch, 0.0, 1, 1, 1, 0, 0)])
    yaw, tilt, roll = _of_angles(rotation, np.eye(3)[None] * 1e-8)[0]
    assert yaw == roll == pytest.approx(103.9, abs=0.1)
    assert tilt == pytest.approx(np.degrees(1e-4), rel=1e-3)


def test_poses_within_a_set_are_as_uncertain_as_they_say() -> None:
    """Errors over their uncertainties, from turns of a frame that all frames do not have in common."""
    ratios = []
    for seed in range(8):
        made = make(np.random.default_rng(seed), grid(*ROWS), points=15)
        adjusted = adjust(made.frames, made.links, ASSUMED, AXIS)
        world = turn_of(adjusted.rotations @ made.rotations.transpose(0, 2, 1))
        own = adjusted.rotations.transpose(0, 2, 1) @ (world - world.mean(axis=0))[:, :, None]
        angles = np.degrees(np.linalg.solve(angle_axes(adjusted.rotations), own)[:, :, 0])
        within, known = poses_within(adjusted), poses_known(adjusted)
        assert (within < known).all()
        ratios.append(angles / within)
    assert 0.7 < np.sqrt(np.mean(np.square(ratios))) < 1.3


def test_frames_that_nothing_holds_are_as_uncertain_as_commanded() -> None:
    frames = [replace(frame, yaw_sd_deg=0.04, roll_sd_deg=0.01) for frame in grid(*ROWS)]
    adjusted = adjust(frames, [], ASSUMED, AXIS)
    assert poses_known(adjusted) == pytest.approx(commanded_known(frames), rel=0.02)
    assert np.array_equal(poses_within(adjusted), poses_known(adjusted))
    assert not off_pose(frames, adjusted).distance.any()


def test_distances_from_the_head_have_three_degrees_of_freedom() -> None:
    """The mean square of sound frames is 3. Correlated frames let it vary more than by chance alone."""
    squares = []
    for seed in range(8):
        made = make(np.random.default_rng(seed), grid(*ROWS), points=15)
        squares.append(off_pose(made.frames, adjust(made.frames, made.links, ASSUMED, AXIS)).distance ** 2)
    assert 2.4 < np.mean(squares) < 3.6
    assert np.max(squares) < 30
