"""The pose of each exposure: how it is determined, and that it is the truth for a simulated head that leans."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from controller.planning.plan import Frame
from controller.program.kinematics import reached
from controller.session.rows import Intent, ShotOutcome, ShotRow
from controller.session.shot_poses import PoseFrom, shot_pose
from sim.truth import TrueExposure
from tests.controller.kit.tables import kit_with
from tests.controller.program.test_kinematics import rotation
from tests.end_to_end.whole_runs import few_frames, kit_of, run, within_deg, world_of

HEAD = kit_with({"head.lean_deg": 4.0, "head.lean_toward_deg": 60.0, "head.pan.measured_steps_per_degree": 100.0}).head
FRAME = Frame(id=3, row=0, yaw_deg=12.0, pitch_deg=-30.0)
ROW = ShotRow(1, Intent(3, 0, 1, 1, 12.0, -31.0, 0.01, 1200, -9920), 0, ShotOutcome.CONFIRMED, 9, 9, 1203, -9600)


def test_what_was_reported_counts_before_what_was_commanded() -> None:
    told = shot_pose(HEAD, FRAME, ROW)
    assert (told.pan_deg, told.tilt_deg, told.source) == (12.03, -30.0, PoseFrom.REPORTED)
    pose = reached(12.03, -30.0, 4.0, 60.0)
    assert (told.yaw_deg, told.pitch_deg, told.roll_deg) == pytest.approx(
        (pose.yaw_deg, pose.pitch_deg, pose.roll_deg), abs=1e-4
    )
    assert abs(told.roll_deg) > 1


def test_of_an_exposure_that_nobody_heard_the_end_of_the_command_counts() -> None:
    told = shot_pose(HEAD, FRAME, replace(ROW, outcome=None, reported_pan_steps=None, reported_tilt_steps=None))
    assert (told.pan_deg, told.tilt_deg, told.source) == (12.0, -31.0, PoseFrom.COMMANDED)


def test_old_sessions_have_angles_of_the_axes_alone() -> None:
    intent = replace(ROW.intent, commanded_pan_steps=None, commanded_tilt_steps=None)
    old = replace(ROW, intent=intent, reported_pan_steps=None, reported_tilt_steps=None)
    told = shot_pose(HEAD, FRAME, old)
    assert (told.pan_deg, told.tilt_deg, told.source) == (12.0, -31.0, PoseFrom.COMMANDED)
    assert told == shot_pose(HEAD, FRAME, replace(old, intent=ROW.intent))


def test_by_hand_there_are_no_motors() -> None:
    by_hand = FRAME.model_copy(update={"by_hand": True})
    for row in (ROW, replace(ROW, intent=Intent(3, 0, 1, 1, None, None, 0.01))):
        told = shot_pose(HEAD, by_hand, row)
        assert (told.yaw_deg, told.pitch_deg, told.roll_deg) == (12.0, -30.0, 0.0)
        assert (told.pan_deg, told.tilt_deg, told.source) == (None, None, PoseFrom.ASKED)


def off_deg(shot: tuple[float, float, float], true: TrueExposure) -> float:
    turn = rotation(*shot).inv() * rotation(true.yaw_deg, true.pitch_deg, true.roll_deg)
    return math.degrees(float(np.linalg.norm(turn.as_rotvec())))


@pytest.mark.parametrize("lean", [0.0, 1.5, 6.0])
def test_exported_poses_are_where_the_camera_truly_looked(lean: float, tmp_path: Path) -> None:
    kit = kit_of(24.0, head={"lean_deg": lean, "lean_toward_deg": -40.0, "pan": {"backlash_deg": 0.15}})
    world = world_of(kit)
    done = run(world, tmp_path)
    frames = {frame.id: frame for frame in few_frames()}
    assert len(done.shots) == len(world.truth) == len(frames)
    for shot, true in zip(done.shots, world.truth, strict=True):
        told = shot_pose(kit.head, frames[shot.intent.frame], shot)
        assert told.source is PoseFrom.REPORTED
        assert off_deg((told.yaw_deg, told.pitch_deg, told.roll_deg), true) < within_deg(kit)
