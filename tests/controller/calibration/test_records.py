"""The calibration file: it returns what was stored, loses nothing, and the newest valid record is used."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from controller.calibration.records import (
    AxisName,
    CalibrationKind,
    Record,
    add,
    calibration_path,
    new_record,
    newest_valid,
    read,
    undo,
    valid,
)
from controller.calibration.validity import State, calibrated, fresh, is_stale
from controller.errors import InputError, StorageFailed
from controller.kit.kit import Kit
from controller.kit.load import load_kit
from controller.setup.progress import read_progress
from tests.controller.kit.tables import kit_with

KIT = kit_with({})
NOON = datetime(2026, 6, 21, 12, tzinfo=UTC)
OTHERS = {
    CalibrationKind.BACKLASH: AxisName.TILT,
    CalibrationKind.LEVEL: None,
    CalibrationKind.PARALLAX: None,
    CalibrationKind.SETTLE: None,
}


def steps(value: float, days: float = 0, axis: AxisName = AxisName.PAN, kit: Kit = KIT) -> Record:
    made_at = (NOON + timedelta(days=days)).isoformat()
    values = {"steps_per_degree": value}
    return new_record(
        kit,
        CalibrationKind.STEPS,
        axis,
        made_at,
        values=values,
        uncertainties={"u_steps_per_degree": 0.01},
        how="full turns",
    )


def test_the_file_lies_beside_the_kit() -> None:
    assert calibration_path(Path("a/my.kit.toml")) == Path("a/my.kit.calibration.json")
    assert calibration_path(Path("a/my.kit")) == Path("a/my.kit.calibration.json")


def test_no_file_means_no_records(tmp_path: Path) -> None:
    assert read(tmp_path / "kit.toml") == ()


def test_what_goes_in_comes_out_and_ids_grow(tmp_path: Path) -> None:
    kit = tmp_path / "kit.toml"
    stored = [add(kit, steps(320 + n)) for n in range(3)]
    assert [record.id for record in stored] == [1, 2, 3]
    assert list(read(kit)) == stored
    assert not list(tmp_path.glob("*.part"))


def test_undo_takes_the_newest_and_keeps_it(tmp_path: Path) -> None:
    kit = tmp_path / "kit.toml"
    for value, days in ((320.0, 0), (321.0, 2), (322.0, 1)):
        add(kit, steps(value, days))
    assert undo(kit).values["steps_per_degree"] == 321
    assert undo(kit, 1).id == 1
    assert [record.undone for record in read(kit)] == [True, True, False]
    for wrong in (1, 7):
        with pytest.raises(InputError):
            undo(kit, wrong)
    undo(kit)
    with pytest.raises(InputError, match="no record to undo"):
        undo(kit)
    assert add(kit, steps(323)).id == 4  # an id is never reused


@given(st.lists(st.tuples(st.floats(300, 340), st.integers(0, 50), st.booleans()), max_size=12))
def test_the_newest_that_stands_counts(made: list[tuple[float, int, bool]]) -> None:
    records = [
        steps(value, days).model_copy(update={"id": number, "undone": undone})
        for number, (value, days, undone) in enumerate(made)
    ]
    standing = [record for record in records if not record.undone]
    found = newest_valid(records, CalibrationKind.STEPS, AxisName.PAN, KIT)
    assert (found is None) == (not standing)
    if found is not None:
        assert not found.undone
        assert found.made_at == max(record.made_at for record in standing)
    assert len(valid(records, CalibrationKind.STEPS, AxisName.PAN, KIT)) == len(standing)
    assert newest_valid(records, CalibrationKind.STEPS, AxisName.TILT, KIT) is None


def test_other_gears_make_a_record_invalid_and_other_things_do_not() -> None:
    records = [steps(321.0)]
    for key, value, holds in (
        ("head.pan.gear_ratio", 40.0, False),
        ("head.pan.microsteps", 8, False),
        ("head.tilt.gear_ratio", 40.0, True),
        ("head.pan.max_speed_deg_s", 10.0, True),
        ("head.pan.backlash_deg", 0.1, True),
        ("lens.focal_length_mm", 50.0, True),
    ):
        found = newest_valid(records, CalibrationKind.STEPS, AxisName.PAN, kit_with({key: value}))
        assert (found is not None) == holds, key


def test_a_record_still_holds_for_the_kit_it_calibrated() -> None:
    records = [steps(321.0)]
    once = calibrated(KIT, records)
    assert once.head.pan.steps_per_degree == 321
    assert once.head.tilt == KIT.head.tilt
    assert calibrated(once, records) == once


def test_calibrated_takes_play_and_ringing(tmp_path: Path) -> None:
    made = NOON.isoformat()
    records = [
        new_record(
            KIT,
            CalibrationKind.BACKLASH,
            AxisName.TILT,
            made,
            values={"play_deg": 0.07},
            uncertainties={},
            how="both sides",
        ),
        new_record(
            KIT,
            CalibrationKind.SETTLE,
            None,
            made,
            values={"ring_hz": 6.5, "ring_damping": 0.03},
            uncertainties={},
            how="a sensor",
        ),
    ]
    head = calibrated(KIT, records).head
    assert (head.tilt.backlash_deg, head.pan.backlash_deg) == (0.07, 0)
    assert (head.ring_hz, head.ring_damping, head.settle_ms) == (6.5, 0.03, None)
    other_lens = kit_with({"lens.focal_length_mm": 200.0})
    assert calibrated(other_lens, records).head.ring_hz == other_lens.head.ring_hz


def test_the_lean_counts_only_while_the_head_stands_there() -> None:
    level = new_record(
        KIT,
        CalibrationKind.LEVEL,
        None,
        NOON.isoformat(),
        values={"lean_deg": 0.8, "toward_deg": 120.0},
        uncertainties={},
        how="tilts",
    )
    assert calibrated(KIT, [level]).head.lean_deg == 0
    now = calibrated(KIT, [level], NOON + timedelta(hours=11)).head
    assert (now.lean_deg, now.lean_toward_deg) == (0.8, 120.0)
    assert calibrated(KIT, [level], NOON + timedelta(hours=13)).head.lean_deg == 0


def test_fresh_says_what_is_present_stale_missing() -> None:
    other = kit_with({"head.tilt.gear_ratio": 50.0})
    records = [steps(321.0), steps(160.0, axis=AxisName.TILT, kit=other)]

    def states(days_later: float, days: float | None = None) -> dict[str, State]:
        return {f"{s.kind} {s.axis}": s.state for s in fresh(KIT, records, NOON + timedelta(days=days_later), days)}

    assert states(1)["steps pan"] is State.PRESENT
    assert states(181)["steps pan"] is State.STALE
    assert states(1, days=0.5)["steps pan"] is State.STALE
    missing = states(1)
    assert missing.pop("steps pan") is State.PRESENT
    assert set(missing.values()) == {State.MISSING}
    said = {s.axis: s.sentence for s in fresh(KIT, records, NOON) if s.kind is CalibrationKind.STEPS}
    assert "before the kit was changed" in said[AxisName.TILT]
    assert all(s.sentence.endswith(".") and "\n" not in s.sentence for s in fresh(KIT, records, NOON))
    assert not is_stale(records[0], NOON + timedelta(days=180))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is not a calibration file (not valid JSON at line 1, column 1). Restore it from a copy"),
        ("{", "is not a calibration file (not valid JSON at line 1, column 2: {)."),
        ("[]", "is not a calibration file"),
        ('{"format": "fullturn-plan"}', "is not a calibration file"),
        ('{"format": "fullturn-calibration", "format_version": 3, "records": []}', "format version 3"),
        ('{"format": "fullturn-calibration", "format_version": true, "records": []}', "format version True"),
        ('{"format": "fullturn-calibration", "format_version": 1, "records": [{}]}', "records[0]"),
        ('{"format": "fullturn-calibration", "format_version": 1, "records": 3}', "records"),
    ],
)
def test_a_bad_file_is_one_sentence_and_stays_as_it_is(tmp_path: Path, text: str, says: str) -> None:
    kit = tmp_path / "kit.toml"
    calibration_path(kit).write_text(text)
    for attempt in (lambda: read(kit), lambda: add(kit, steps(320)), lambda: undo(kit)):
        with pytest.raises(InputError) as caught:
            attempt()
        assert len(caught.value.sentences) == 1
        assert says in caught.value.sentences[0]
        assert str(calibration_path(kit)) in caught.value.sentences[0]
    assert calibration_path(kit).read_text() == text


def test_what_the_first_version_wrote_beside_a_kit_is_still_good() -> None:
    """Its records are read and still valid: later keys of the kit have not changed what a record depends on."""
    path = Path(__file__).with_name("old") / "version_1.toml"
    kit, records = load_kit(path), read(path)
    assert [record.kind for record in records] == [
        CalibrationKind.STEPS,
        CalibrationKind.STEPS,
        *(kind for kind in CalibrationKind if kind in OTHERS),
    ]
    assert [record.undone for record in records] == [False, True, *[False] * len(OTHERS)]
    assert newest_valid(records, CalibrationKind.STEPS, AxisName.PAN, kit) == records[0]
    for kind, axis in OTHERS.items():
        assert newest_valid(records, kind, axis, kit) is not None
    assert read_progress(path).done.keys() == {"level", "board"}


def test_what_the_second_version_wrote_is_still_good() -> None:
    """Records of settle of either axis, one with rows over pitch."""
    path = Path(__file__).with_name("old") / "version_2.toml"
    kit = calibrated(load_kit(path), read(path))
    assert kit.head.pan.ring_over_pitch == ((-30.0, 6.3), (60.0, 5.8))
    assert (kit.head.tilt.ring_hz, kit.head.tilt.ring_over_pitch) == (7.1, ())
    assert kit.head.ring_hz_within == pytest.approx(math.hypot(0.004, 0.02))
    assert kit.head.ring_damping_within == pytest.approx(math.hypot(0.08, 0.1))


def test_a_file_of_the_first_version_is_written_to_and_keeps_its_records(tmp_path: Path) -> None:
    old = Path(__file__).with_name("old") / "version_1.calibration.json"
    path = tmp_path / "version_1.toml"
    calibration_path(path).write_text(old.read_text(encoding="utf-8"), encoding="utf-8")
    before = read(path)
    add(path, steps(321.0))
    assert read(path)[:-1] == before
    assert json.loads(calibration_path(path).read_text(encoding="utf-8"))["format_version"] == 2


def test_a_value_out_of_bounds_in_the_file_is_refused(tmp_path: Path) -> None:
    kit = tmp_path / "kit.toml"
    add(kit, steps(320))
    path = calibration_path(kit)
    content = json.loads(path.read_text())
    content["records"][0]["values"]["steps_per_degree"] = -1
    path.write_text(json.dumps(content))
    with pytest.raises(InputError, match="steps_per_degree"):
        read(kit)


def test_a_file_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    with pytest.raises(StorageFailed):
        add(tmp_path / "nowhere" / "kit.toml", steps(320))


@pytest.mark.parametrize(
    "changes",
    [
        {"axis": None},
        {"kind": CalibrationKind.LEVEL},
        {"uncertainties": {"u_gear": 0.1}},
        {"uncertainties": {"u_steps_per_degree": -0.1}},
        {"values": {}},
        {"values": {"steps_per_degree": float("nan")}},
        {"values": {"Steps": 1.0}},
        {"made_at": datetime(2026, 6, 21)},  # without a time zone
    ],
)
def test_a_record_that_makes_no_sense_is_refused(changes: dict[str, object]) -> None:
    content = dict(steps(320)) | changes
    with pytest.raises(ValidationError):
        Record.model_validate(content)
