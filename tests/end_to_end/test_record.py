"""The files of a rehearsal's folder: they agree with each other, and repeat to the byte."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from controller.commands.plan import PlanExtras, plan_command
from controller.commands.rehearse import rehearse_command
from controller.planning.plan import Plan
from controller.planning.plan_file import load_plan
from controller.session.rows import ShotOutcome, ShotRow
from controller.session.session import Session
from tests.end_to_end.whole_runs import planned_exposures

KIT = """
[camera]
sensor_width_mm = 36.0
sensor_height_mm = 24.0
pixels_wide = 6000
pixels_high = 4000
[lens]
focal_length_mm = 20.0
[exposure]
bracket_ev = [-2, 0, 2]
[board]
sync_contact = {contact}
"""
TRUTH_NAMES = ["frame", "exposure", "yaw_deg", "pitch_deg", "t_s", "shutter_s", "still", "motion_px", "roll_deg"]
REPORT_NAMES = {
    "frames_planned",
    "exposures_planned",
    "exposures_made",
    "exposures_confirmed",
    "exposures_assumed",
    "virtual_seconds",
    "predicted_seconds",
    "complete",
}


class Record(NamedTuple):
    """One rehearsal's folder, read."""

    folder: Path
    plan: Plan
    truth: list[dict[str, Any]]
    report: dict[str, Any]
    shots: list[ShotRow]
    about: dict[str, str]


def rehearse(folder: Path, plan_path: Path, seed: int) -> Record:
    rehearse_command(plan_path, folder, seed, lambda _: lambda: None)
    with Session.open(folder / "session.sqlite") as session:
        shots, about = session.shots(), session.about()
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    assert list(truth) == ["exposures"]
    report = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    return Record(folder, load_plan(plan_path), truth["exposures"], report, shots, about)


@pytest.fixture(scope="module")
def plans(tmp_path_factory: pytest.TempPathFactory) -> dict[bool, Path]:
    """A plan with and one without a sync contact."""
    folder, made = tmp_path_factory.mktemp("plans"), {}
    for contact in (True, False):
        kit, made[contact] = folder / f"{contact}.toml", folder / f"{contact}.json"
        kit.write_text(KIT.format(contact=str(contact).lower()), encoding="utf-8")
        plan_command(kit, made[contact], PlanExtras())
    return made


@pytest.fixture(scope="module", params=[True, False], ids=["contact", "no contact"])
def record(request: pytest.FixtureRequest, plans: dict[bool, Path], tmp_path_factory: pytest.TempPathFactory) -> Record:
    return rehearse(tmp_path_factory.mktemp("run"), plans[request.param], seed=3)


def test_the_truth_has_its_names(record: Record) -> None:
    for row in record.truth:
        assert list(row) == TRUTH_NAMES
        kinds = [int, int, float, float, float, float, bool, float, float]
        assert [type(value) for value in row.values()] == kinds


def test_the_report_has_its_names(record: Record) -> None:
    assert set(record.report) >= REPORT_NAMES
    contact = record.plan.kit.board.sync_contact
    assert record.report["verdict"] == ("complete" if contact else "assumed")
    assert (record.report["complete"], record.report["exit_status"]) == (contact, 0)


def test_truth_report_and_session_agree(record: Record) -> None:
    planned = planned_exposures(record.plan.kit, record.plan.frames)
    true = [(row["frame"], row["exposure"]) for row in record.truth]
    assert true == planned
    assert [(shot.intent.frame, shot.intent.exposure) for shot in record.shots] == true
    report = record.report
    assert report["frames_planned"] == len(record.plan.frames)
    assert report["exposures_planned"] == report["exposures_made"] == len(true)
    for shot, row in zip(record.shots, record.truth, strict=True):
        assert shot.ended_ns is not None
        assert shot.intended_ns < row["t_s"] * 1e9 < shot.ended_ns
        assert shot.intent.shutter_s == pytest.approx(row["shutter_s"], abs=1e-9)
    assert record.report["virtual_seconds"] >= record.truth[-1]["t_s"] + record.truth[-1]["shutter_s"]


def test_confirmed_and_assumed_are_never_mixed(record: Record) -> None:
    contact = record.plan.kit.board.sync_contact
    word, name, other = (
        (ShotOutcome.CONFIRMED, "exposures_confirmed", "exposures_assumed")
        if contact
        else (ShotOutcome.ASSUMED, "exposures_assumed", "exposures_confirmed")
    )
    assert {shot.outcome for shot in record.shots} == {word}
    assert (record.report[name], record.report[other]) == (len(record.truth), 0)


def test_the_session_carries_the_whole_plan(record: Record) -> None:
    assert (record.about["kind"], record.about["seed"]) == ("rehearsal", "3")
    assert record.report["sentence"] == "The run is through."
    assert record.about["plan_hash"] == record.plan.hash == record.report["plan_hash"]
    assert Plan.model_validate_json(record.about["plan"]) == record.plan


def test_the_report_for_people_says_the_same(record: Record) -> None:
    page = (record.folder / "report.html").read_text(encoding="utf-8")
    made = record.report["exposures_made"]
    assert f"{made} of {made}" in page
    assert record.report["headline"] in page


def test_the_same_seed_repeats_to_the_byte(plans: dict[bool, Path], tmp_path: Path) -> None:
    first, again, other = (rehearse(tmp_path / name, plans[True], seed) for name, seed in (("a", 8), ("b", 8), ("c", 9)))
    for name in ("truth.json", "report.json", "report.html"):
        assert (first.folder / name).read_bytes() == (again.folder / name).read_bytes()
    assert first.shots == again.shots
    assert (first.folder / "truth.json").read_bytes() != (other.folder / "truth.json").read_bytes()
    assert [row["t_s"] for row in first.truth] != [row["t_s"] for row in other.truth]
