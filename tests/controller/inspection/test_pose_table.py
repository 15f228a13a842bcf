"""The table that another program starts from: its columns say the same pose in every form."""

from __future__ import annotations

import csv
import io
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.inspection.head_measured import Measured, Unmeasured
from controller.inspection.inspected import FrameFault, Inspected
from controller.inspection.measured_words import head_sentences, lens_sentences, measured_values, with_interval
from controller.inspection.pose_table import CONVENTIONS, PoseRow, pose_rows, poses_csv, poses_json
from controller.inspection.poses import HeadFrame, commanded
from controller.matching.table import MatchLine, MatchVerdict
from controller.planning.request import RegionKind, Request
from tests.controller.inspection.inspected_sets import blemished, inspected_of, plan_of


@pytest.fixture(scope="module")
def inspected() -> Inspected:
    plan = plan_of(14.0, Request(region=RegionKind.BAND, pitch_from_deg=-10, pitch_to_deg=10))
    return inspected_of(plan, rolls=(0.0, 3.0, -40.0), k1=-0.03)


def lines_of(inspected: Inspected, exposures: int = 1) -> list[MatchLine]:
    lines = [
        MatchLine(MatchVerdict.SURE, f"{number}-{one.frame}.JPG", frame=one.frame, exposure=number, attempt=1, use=True)
        for number in range(exposures)
        for one in inspected.frames
    ]
    return [*lines, MatchLine(MatchVerdict.EXTRA, "X.JPG"), MatchLine(MatchVerdict.MISSING, frame=0, exposure=0)]


def test_quaternion_and_angles_are_one_rotation(inspected: Inspected) -> None:
    """By the formula of the quaternion's matrix, written out, and by the order yaw, pitch, roll."""
    rows = pose_rows(inspected, lines_of(inspected))
    assert len(rows) == len(inspected.frames)
    for row, frame in zip(rows, inspected.frames, strict=True):
        w, x, y, z = row.quaternion_w, row.quaternion_x, row.quaternion_y, row.quaternion_z
        matrix = np.array([
            [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
            [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
            [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
        ])  # fmt: skip
        (angles,) = commanded([HeadFrame(row.yaw_deg, row.pitch_deg, row.roll_deg, 1, 1, 1, 0, 0)])
        assert np.allclose(matrix, frame.rotation)
        assert np.allclose(angles, frame.rotation)


def test_a_row_for_each_file_in_use_and_brackets_are_together(inspected: Inspected) -> None:
    rows = pose_rows(inspected, lines_of(inspected, 3))
    assert [(row.frame, row.exposure) for row in rows] == [
        (one.frame, exposure) for one in inspected.frames for exposure in range(3)
    ]
    assert len({row.bracket_group for row in rows}) == len(inspected.frames)
    for row in rows:
        assert row.file == f"{row.exposure}-{row.frame}.JPG"
        assert row.focal_mm == pytest.approx(inspected.plan.kit.lens.focal_length_mm, rel=1e-2)


def test_csv_and_json_hold_the_same_and_every_column_is_explained_by_its_name(inspected: Inspected) -> None:
    soft = blemished(inspected, {1: FrameFault.SOFT, 2: FrameFault.TURNED})
    rows = pose_rows(soft, lines_of(soft))
    read = list(csv.DictReader(io.StringIO(poses_csv(rows))))
    written = poses_json(rows)
    assert written["conventions"] == CONVENTIONS
    assert list(read[0]) == [one.name for one in fields(PoseRow)]
    for one, other in zip(read, written["files"], strict=True):
        for name, value in other.items():
            assert one[name] == ("" if value is None else str(value))
    assert [row["faults"] for row in read][:4] == ["", "soft", "turned", ""]
    units = ("deg", "px", "mm", "s")
    assert all(name.split("_")[-1] in units for name in read[0] if name.startswith(("yaw", "pitch", "focal", "centre")))


@settings(max_examples=50)
@given(st.floats(-1e4, 1e4), st.floats(1e-6, 1e3))
def test_an_interval_shows_two_digits_and_holds_the_value(value: float, sd: float) -> None:
    """GUM (JCGM 100:2008) 7.2.6: two significant digits of an uncertainty usually suffice."""
    found = Measured(value, sd)
    middle, half = (float(part) for part in with_interval(found).split(" ± "))
    true = found.interval[1] - value
    assert half == pytest.approx(true, rel=0.06)
    assert abs(middle - value) <= max(0.05 * true, 0.51)


def test_what_is_not_measured_gives_its_reason(inspected: Inspected) -> None:
    said = " ".join(head_sentences(inspected.head, inspected.plan.kit))
    for reason in (Unmeasured.ONE_TILT, Unmeasured.ONE_APPROACH, Unmeasured.NO_PLUMB_LINE):
        assert f"not measured, because {reason.value}" in said
    values = measured_values(inspected)
    assert values["lean_deg"] == {"reason": Unmeasured.NO_PLUMB_LINE.value}
    pan = values["pan_steps_per_degree"]
    assert pan["from"] < pan["value"] < pan["to"]


@pytest.mark.parametrize(
    ("ahead", "slide"), [(0.01, "Slide the camera back"), (-0.01, "Slide the camera forward"), (0.0001, "Leave the rail")]
)
def test_the_way_to_slide_is_back_if_the_pupil_is_ahead(ahead: float, slide: str, inspected: Inspected) -> None:
    lens = replace(inspected.lens, pupil_ahead_share=Measured(ahead, 0.001))
    assert slide in " ".join(lens_sentences(lens, inspected.plan.kit))
    millimetres = replace(lens, pupil_ahead_mm=Measured(1500 * ahead, 1.5), pupil_right_mm=Measured(0.0, 1.0))
    assert slide in " ".join(lens_sentences(millimetres, inspected.plan.kit))
