"""The folder of files that 0.1.0 wrote (`keep.py`), opened by the program of today: an update strands nothing."""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing, nullcontext
from dataclasses import replace
from pathlib import Path
from unittest import mock

import pytest

from controller.calibration.records import FORMAT_VERSION as CALIBRATION_VERSION
from controller.calibration.records import OLDEST_VERSION as OLDEST_CALIBRATION
from controller.calibration.records import CalibrationKind, calibration_path
from controller.calibration.records import read as read_records
from controller.calibration.validity import calibrated
from controller.capture.operator import request_of
from controller.commands import capture
from controller.commands.account import report_command
from controller.commands.faults import scenario_named
from controller.commands.match import match_command
from controller.commands.tell import tell_command
from controller.errors import InputError
from controller.folders import FORMAT as MARK_FORMAT
from controller.kit.load import load_kit
from controller.page.devices import DEVICES_VERSION, load_devices
from controller.page.made_folders import MadeKind, made_folders
from controller.page.served import PAGE_FILE, ServedFolder
from controller.planning.plan import FORMAT_VERSION as PLAN_VERSION
from controller.planning.plan_file import load_plan, plan_from
from controller.planning.plan_versions import OLDEST_VERSION as OLDEST_PLAN
from controller.report.own_pages import is_own_account, is_own_page, is_own_sphere, is_own_truth
from controller.report.verdict import SetStanding
from controller.session.migrations import OLDEST_VERSION as OLDEST_SESSION
from controller.session.migrations import SESSION_VERSION
from controller.session.session import Session
from controller.setup.progress import FORMAT_VERSION as SETUP_VERSION
from controller.setup.progress import progress_path, read_progress
from controller.showing.shown_run import shown_run
from tests.controller.page.sessions_made import browser_of, page_of, words_of
from tests.controller.session.keep import card_of, journey
from tests.kept_files.keep import KITS, PLANS, SCENARIOS, TOKENS
from tests.repo.test_layers import ROOT, name_of, program_files

KEPT = ROOT / "tests" / "files_0_1_0"
SESSIONS = {path.stem: path for path in sorted(KEPT.glob("*.sqlite"))}
FINISHED = {"2026-03-01-ledge-1": "window", "2026-03-01-ledge-4": "passes"}
BROKEN_OFF = {"2026-03-01-ledge-2": "sphere", "2026-03-01-ledge-3": "window", "2026-03-01-ledge-5": "by_hand"}
REPORT, CARD = "2026-03-01-ledge-1-report", "2026-03-01-ledge-1-card"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the folder, to work in."""
    shutil.copytree(KEPT, tmp_path / "folder")
    return tmp_path / "folder"


def contents(folder: Path) -> dict[str, bytes]:
    """The content of every file below a folder."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_the_folder_has_everything_that_its_maker_makes() -> None:
    assert {path.stem for path in KEPT.glob("*.json")} >= set(PLANS)
    assert {path.stem for path in KEPT.glob("*.toml")} >= {*KITS, *(f"scenario-{name}" for name in SCENARIOS)}
    assert set(SESSIONS) == {*FINISHED, *BROKEN_OFF}
    assert (KEPT / "2026-03-01-ledge-3.sqlite-wal").stat().st_size > 0


@pytest.mark.parametrize("name", PLANS)
def test_a_plan_is_read_with_its_frames_and_its_hash(name: str) -> None:
    content, plan = json.loads((KEPT / f"{name}.json").read_text(encoding="utf-8")), load_plan(KEPT / f"{name}.json")
    assert len(plan.frames) == len(content["frames"]) > 1
    for frame, told in zip(plan.frames, content["frames"], strict=True):
        assert frame.model_dump(include=set(told)) == told
    assert plan.proof.covered
    assert plan.proof.worst_margin_deg == pytest.approx(content["proof"]["worst_margin_deg"])
    begun = plan_from(json.dumps(content), "session", begun=True)
    assert begun.hash == content["hash"]


@pytest.mark.parametrize("name", KITS)
def test_a_kit_is_read(name: str) -> None:
    kit = load_kit(KEPT / f"{name}.toml")
    assert kit.camera.pixels_wide == 6000
    assert (kit.camera.make is None) is (name != "named")


def test_the_records_beside_a_kit_still_hold() -> None:
    kit, records = load_kit(KEPT / "kit.toml"), read_records(KEPT / "kit.toml")
    assert [(record.kind, record.axis) for record in records] == [
        (CalibrationKind.BACKLASH, "pan"), (CalibrationKind.BACKLASH, "tilt"),
    ]  # fmt: skip
    now = calibrated(kit, records)
    assert now.head.pan.backlash_deg == pytest.approx(0.08, abs=0.01)
    assert now.head.tilt.backlash_deg == pytest.approx(0.08, abs=0.01)
    assert read_progress(KEPT / "kit.toml").done.keys() == {"level", "board"}


@pytest.mark.parametrize("name", SESSIONS)
def test_a_session_is_reported_and_watched_and_stays_as_it_is(name: str, folder: Path) -> None:
    before = contents(folder)
    path = folder / f"{name}.sqlite"
    verdict = report_command(path, None).verdict
    assert (verdict is SetStanding.COMPLETE) is (name in FINISHED)
    with Session.open(path) as session:
        shown = shown_run(session, plan_from(session.plan_text(), str(path), begun=True))
    assert shown.total == len(load_plan(KEPT / f"{(FINISHED | BROKEN_OFF)[name]}.json").exposures)
    assert shown.made == (shown.total if name in FINISHED else 3)
    assert shown.sentences
    if path.with_name(f"{path.name}-wal").name not in before:  # a journal that a killed run left is folded in
        assert contents(folder) == before


@pytest.mark.parametrize("name", BROKEN_OFF)
def test_a_session_that_was_broken_off_is_resumed_to_a_complete_set(name: str, folder: Path) -> None:
    path = folder / f"{name}.sqlite"
    world = journey(load_plan(KEPT / f"{BROKEN_OFF[name]}.json"), folder, seed=2)
    world.session_path = path
    with mock.patch.object(capture, "port_alone", return_value=nullcontext()):  # all the sessions name the same port
        assert world.resume(tries=1), world.ends
    with Session.open(path) as session:
        assert session.made() == world.plan.exposures
    assert report_command(path, None).verdict is SetStanding.COMPLETE


EARLIER = sorted((ROOT / "tests" / "files_earlier").glob("session_*.sqlite"))

# Version 2 called a set complete whose tilt was not checked after the last exposure; its own report said so.
EARLIEST_VERDICTS = {"session_2_finished": SetStanding.UNCHECKED, "session_3_finished": SetStanding.COMPLETE}


def test_sessions_of_the_earliest_versions_are_kept() -> None:
    """The programs of their time wrote them, against their simulator in real time; later versions have `keep.py`."""
    assert {path.stem for path in EARLIER} == {
        f"session_{version}_{how}" for version in (2, 3) for how in ("finished", "stopped", "killed")
    }
    assert all((path.with_name(f"{path.name}-wal")).exists() is path.stem.endswith("killed") for path in EARLIER)


@pytest.mark.parametrize("kept", EARLIER, ids=lambda kept: kept.stem)
def test_an_earliest_session_is_reported_and_resumed_to_a_complete_set(kept: Path, tmp_path: Path) -> None:
    path = tmp_path / "session.sqlite"
    for file in kept.parent.glob(f"{kept.name}*"):
        shutil.copy(file, tmp_path / file.name.replace(kept.stem, "session"))
    with Session.open(path) as session:
        plan = plan_from(session.plan_text(), str(path), begun=True)
        before = session.shots()
        assert shown_run(session, plan).total == len(plan.exposures) == 4
    assert 0 < len(before) <= 4
    verdict = report_command(path, None).verdict
    assert verdict is EARLIEST_VERDICTS.get(kept.stem, SetStanding.INCOMPLETE)
    if verdict is not SetStanding.COMPLETE:
        world = journey(plan, tmp_path, seed=2)
        with mock.patch.object(capture, "port_alone", return_value=nullcontext()):
            assert world.resume(tries=1), world.ends
    with Session.open(path) as session:
        assert session.made() == plan.exposures
        assert session.shots()[: len(before)] == before
    assert report_command(path, None).verdict is SetStanding.COMPLETE


def test_a_card_of_a_session_is_matched_as_it_was(folder: Path, tmp_path: Path) -> None:
    rows = json.loads((folder / REPORT / "exposures.json").read_text(encoding="utf-8"))
    card = tmp_path / "card"
    card.mkdir()
    card_of(rows, card)
    said = json.loads((folder / CARD / "match.json").read_text(encoding="utf-8"))
    found = json.loads(json.dumps(match_command(folder / "2026-03-01-ledge-1.sqlite", card).as_json()))
    pairs = [{key: line[key] for key in ("file", "frame", "exposure", "verdict")} for line in said["lines"]]
    assert len(pairs) == len(rows) == 6
    assert [{key: line[key] for key in pairs[0]} for line in found["lines"]] == pairs
    assert found["retake"] == said["retake"] == []


@pytest.mark.parametrize("result", [f"{CARD}/match.json", "inspection/inspection.json"])
def test_a_result_names_the_frames_to_shoot_again(result: str, folder: Path) -> None:
    content = json.loads((folder / result).read_text(encoding="utf-8"))
    (folder / "again.json").write_text(json.dumps(content | {"retake": [1]}), encoding="utf-8")
    assert request_of(["retake", str(folder / "again.json")]).frames == (1,)
    assert "frame 1" in tell_command(folder / "2026-03-01-ledge-1.sqlite", ["retake", str(folder / "again.json")])


@pytest.mark.parametrize("name", SCENARIOS)
def test_a_scenario_is_read(name: str) -> None:
    kept, own = scenario_named(str(KEPT / f"scenario-{name}.toml")), scenario_named(name)
    assert replace(kept, name=name) == own


def test_the_pages_and_tables_are_known_as_the_programs_own() -> None:
    assert all(is_own_page(path) for path in KEPT.rglob("*.html"))
    assert is_own_sphere(KEPT / "inspection" / "sphere.jpg")
    assert is_own_account(KEPT / REPORT / "report.json")
    assert is_own_truth(KEPT / "rehearsal" / "truth.json")


def test_the_page_lists_all_of_it_and_still_knows_its_devices(folder: Path) -> None:
    made = {each.name: each.kind for each in made_folders(ServedFolder.at(folder))}
    assert made == {
        REPORT: MadeKind.REPORT, CARD: MadeKind.CARD, "rehearsal": MadeKind.REHEARSAL, "inspection": MadeKind.INSPECTION,
    }  # fmt: skip
    kept = load_devices(folder / PAGE_FILE)
    assert [kept.devices[n].has(token) for n, token in enumerate(TOKENS)] == [True, True]
    with browser_of(page_of(folder)) as browser:
        sessions = words_of(browser.get("/sessions").text)
        assert all(name.rpartition("-")[2] in sessions for name in SESSIONS)
        for name in SESSIONS:
            assert browser.get(f"/sessions/{name}.sqlite").status_code == 200
        plans = browser.get("/begin").text
        assert all(f"{name}.json" in plans for name in PLANS)


def a_newer_json(path: Path, key: str, version: int) -> None:
    """Make a file one of a later version."""
    content = json.loads(path.read_text(encoding="utf-8"))
    path.write_text(json.dumps(content | {key: version}), encoding="utf-8")


def a_newer_session(path: Path, version: int) -> None:
    """Make a session one of a later version."""
    with closing(sqlite3.connect(path)) as db, db:
        db.execute(f"PRAGMA user_version = {version}")


def tell_retake(path: Path) -> None:
    tell_command(path, ["retake", "0"])


def resume(path: Path) -> None:
    world = journey(load_plan(KEPT / "window.json"), path.parent)
    capture.resume_command(path, world.url, world.crew(), world.open_port)


SESSION_FILE, PLAN_FILE = "2026-03-01-ledge-1.sqlite", "window.json"
NEWER: dict[str, tuple[str, str, int, tuple[Callable[[Path], object], ...]]] = {
    "plan": (PLAN_FILE, "format_version", PLAN_VERSION, (load_plan,)),
    "session": (SESSION_FILE, "", SESSION_VERSION, (lambda path: report_command(path, None), resume, tell_retake)),
    "calibration": ("kit.calibration.json", "format_version", CALIBRATION_VERSION, (
        lambda path: read_records(path.with_name("kit.toml")),)),
    "setup": ("kit.setup.json", "format_version", SETUP_VERSION, (
        lambda path: read_progress(path.with_name("kit.toml")),)),
    "devices": (PAGE_FILE, "version", DEVICES_VERSION, (load_devices,)),
}  # fmt: skip
"""For each format: a kept file, the key of its version, this program's version, and what reads it."""


@pytest.mark.parametrize("kind", NEWER)
@pytest.mark.parametrize("ahead", [1, 94])
def test_a_file_of_a_later_version_is_refused_by_its_version_and_left_alone(kind: str, ahead: int, folder: Path) -> None:
    name, key, version, readers = NEWER[kind]
    path = folder / name
    if kind == "session":
        a_newer_session(path, version + ahead)
    else:
        a_newer_json(path, key, version + ahead)
    before = contents(folder)
    for read in readers:
        with pytest.raises(InputError) as caught:
            read(path)
        assert len(caught.value.sentences) == 1
        assert re.search(rf"\b{version + ahead}\b.*\b{version}\b", caught.value.sentences[0])
        assert str(path) in caught.value.sentences[0]
        if kind == "session":  # what stood beside it for the run that did not begin
            (folder / "plan.json").unlink(missing_ok=True)
        assert contents(folder) == before


OLD = ROOT / "tests" / "controller"
INVENTORY: dict[str, tuple[int, int, str, Callable[[int], bool]]] = {
    "controller/planning/plan.py": (OLDEST_PLAN, PLAN_VERSION, "window.json", lambda n: bool(
        list((OLD / "planning" / "old").glob(f"version_{n}*.json")))),
    "controller/session/migrations.py": (OLDEST_SESSION, SESSION_VERSION, SESSION_FILE, lambda n: (
        (OLD / "session" / "old" / f"version_{n}.sqlite").exists()
        or (OLD / "session" / "old" / f"version_{n}").is_dir() or n == SESSION_VERSION)),
    "controller/calibration/records.py": (OLDEST_CALIBRATION, CALIBRATION_VERSION, "kit.calibration.json", lambda n: (
        (OLD / "calibration" / "old" / f"version_{n}.calibration.json").exists())),
    "controller/setup/progress.py": (1, SETUP_VERSION, "kit.setup.json", lambda n: (
        (OLD / "calibration" / "old" / f"version_{n}.setup.json").exists())),
    "controller/page/devices.py": (1, DEVICES_VERSION, PAGE_FILE, lambda n: n == 1 and (KEPT / PAGE_FILE).exists()),
}  # fmt: skip
"""Every module that says which version of a format it writes: its versions, a file of 0.1.0, whether one is kept."""
STATES_A_VERSION = re.compile(r"^(?:OLDEST_VERSION, )?(?:FORMAT|SESSION|DEVICES|\w*FILE)_VERSION\b[^=\n]* = |"
                              r"^    (?:format_)?version: Literal\[", re.MULTILINE)  # fmt: skip


def test_every_format_with_a_version_has_files_of_all_its_versions() -> None:
    stating = {name_of(path) for path in program_files() if STATES_A_VERSION.search(path.read_text(encoding="utf-8"))}
    assert stating == set(INVENTORY)
    for oldest, newest, kept, has in INVENTORY.values():
        assert (KEPT / kept).exists()
        assert [version for version in range(oldest, newest + 1) if not has(version)] == []


KINDS: dict[str, str] = {
    "KIT": "kit.toml", "PLAN": PLAN_FILE, "PLAN_IN_SESSION": SESSION_FILE, "CALIBRATION": "kit.calibration.json",
    "READINGS": "play.csv", "SCENARIO": "scenario-gusty-day.toml", "PROGRESS": "kit.setup.json",
    "MATCH": f"{CARD}/match.json", "OURS": f"{REPORT}/report.json", "TRUTH": "rehearsal/truth.json",
    "PAGE_DEVICES": PAGE_FILE,
}  # fmt: skip
NOT_KEPT = {
    "LOADS": "options as they are typed", "RECORDING": "bytes of a line; the protocol has vectors of its own",
    "MARK": "in a folder that only lives while it is written", "REQUEST": "comes over the network",
    "OWN_FILE": "comes with the program", "PHOTOGRAPH": "comes from a camera", "SCENERY": "comes from elsewhere",
    "SYSTEM_FILE": "comes with the system", "SERVICE_FILE": "systemd reads it; its digest only says who wrote it",
}  # fmt: skip


def test_every_kind_of_file_that_is_read_was_kept_or_has_a_reason() -> None:
    texts = [path.read_text(encoding="utf-8") for path in program_files() if name_of(path).startswith("controller/")]
    found = {name for text in texts for name in re.findall(r"^(\w+)(?:: \w+)? = FileKind\(", text, re.MULTILINE)}
    assert found == {*KINDS, *NOT_KEPT}
    assert all((KEPT / name).is_file() for name in KINDS.values())
    assert MARK_FORMAT == {"format": "fullturn-unfinished"}  # a killed run of 0.1.0 leaves this mark


def test_the_file_beside_a_kit_is_found_where_it_was_kept() -> None:
    assert calibration_path(KEPT / "kit.toml").exists()
    assert progress_path(KEPT / "kit.toml").exists()
