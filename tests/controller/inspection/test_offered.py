"""Measured values as findings and records."""

import re
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from controller.calibration.records import AxisName, CalibrationKind, add, read
from controller.calibration.validity import calibrated
from controller.inspection.head_measured import HeadMeasured, Measured, Unmeasured
from controller.inspection.offered import offered
from tests.controller.inspection.sets import grid
from tests.controller.kit.tables import kit_with

KIT = kit_with({})
RATE = KIT.head.pan.nominal_steps_per_degree
FRAMES = grid(np.arange(0, 360.1, 30.0), np.array([-20.0, 20.0]))
MADE_AT = "2026-06-21T12:00:00+02:00"
NO = Unmeasured.ONE_APPROACH


def head(
    pan: Measured | Unmeasured = Unmeasured.ONE_PAN,
    tilt: Measured | Unmeasured = Unmeasured.ONE_TILT,
    pan_play: Measured | Unmeasured = NO,
    tilt_play: Measured | Unmeasured = NO,
) -> HeadMeasured:
    return HeadMeasured(pan, tilt, pan_play, tilt_play, Unmeasured.NO_PLUMB_LINE)


def test_records_of_a_set_calibrate_the_kit(tmp_path: Path) -> None:
    """Stored and read again, they are what the kit then computes with."""
    measured = head(
        Measured(RATE * 1.002, 0.01), Measured(RATE * 0.997, 0.02), Measured(0.08, 0.01), Measured(0.004, 0.01)
    )
    made = offered(KIT, FRAMES, measured, Measured(12.5, 0.4))
    path = tmp_path / "my.kit.toml"
    for record in made.records(KIT, MADE_AT, "24 photographs"):
        add(path, record)
    kept = read(path)
    assert {(record.kind, record.axis) for record in kept} == {
        (kind, axis) for kind in (CalibrationKind.STEPS, CalibrationKind.BACKLASH) for axis in AxisName
    } | {(CalibrationKind.PARALLAX, None)}
    now = calibrated(KIT, kept, datetime(2026, 6, 22, tzinfo=UTC)).head
    assert now.pan.steps_per_degree == pytest.approx(RATE * 1.002)
    assert now.tilt.steps_per_degree == pytest.approx(RATE * 0.997)
    assert (now.pan.backlash_deg, now.tilt.backlash_deg) == (0.08, 0.0)
    parallax = next(record for record in kept if record.kind is CalibrationKind.PARALLAX)
    assert (parallax.values, parallax.uncertainties) == ({"offset_mm": 12.5}, {"u_offset_mm": 0.4})
    assert parallax.made_at == datetime(2026, 6, 21, 10, tzinfo=UTC)
    assert made.left_out == (f"Lean of the head: {Unmeasured.NO_PLUMB_LINE}.",)


def test_what_a_set_does_not_carry_is_left_out_with_the_reason() -> None:
    made = offered(KIT, FRAMES, head())
    assert not made.findings
    assert made.left_out == (
        f"Steps per degree of pan: {Unmeasured.ONE_PAN}.",
        f"Play of pan: {NO}.",
        f"Steps per degree of tilt: {Unmeasured.ONE_TILT}.",
        f"Play of tilt: {NO}.",
        f"Lean of the head: {Unmeasured.NO_PLUMB_LINE}.",
    )


@pytest.mark.parametrize(
    ("measured", "ahead", "said"),
    [
        (head(Measured(RATE * 2, 0.01)), None, "steps per degree are \\+100 % off the kit's gearing"),
        (head(pan_play=Measured(-0.1, 0.01)), None, "is negative.*calibrate backlash"),
        (head(tilt_play=Measured(7.0, 0.1)), None, "more than 5°.*broken gear"),
        (head(), Measured(-900.0, 1.0), "900.0 ± 2.0 mm behind the axis is more than any rail"),
    ],
)
def test_what_cannot_be_is_not_offered(measured: HeadMeasured, ahead: Measured | None, said: str) -> None:
    made = offered(KIT, FRAMES, measured, ahead)
    assert not made.findings
    assert any(re.search(said, sentence) for sentence in made.left_out)


@pytest.mark.parametrize(
    ("ahead", "said"),
    [(12.5, "slide the camera back by 12.5 mm"), (-3.0, "slide the camera forward by 3.0 mm"), (0.3, "leave it")],
)
def test_the_way_to_slide(ahead: float, said: str) -> None:
    (finding,) = offered(KIT, FRAMES, head(), Measured(ahead, 0.4)).findings
    assert said in finding.sentences[0]
