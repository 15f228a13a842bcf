"""Runs in several passes: stopped anywhere, resumed, retaken; every exposure is made exactly once."""

from __future__ import annotations

import csv
import json
from collections import Counter
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageFilter

from controller.capture.events import EventKind, Wanted
from controller.capture.runner import Runner, RunResult
from controller.capture.telling import must_be_planned
from controller.commands.account import report_command
from controller.commands.stand_in import rig_spec
from controller.planning.make import make_plan
from controller.planning.plan import Plan
from controller.planning.plan_file import load_plan
from controller.planning.request import RegionKind, Request
from controller.program.build import build_program
from controller.report.account_words import account_text, shot_proof_sentence
from controller.report.summary import account_of
from controller.report.verdict import SetStanding
from controller.session.rows import RunReason
from controller.session.session import Session
from sim.rig import Rig
from sim.virtual_port import VirtualPort
from tests.controller.commands.shell import Shell
from tests.end_to_end.whole_runs import apart_deg, assert_truly_made, kit_of, run, within_deg, world_of

KIT = """
[camera]
sensor_width_mm = 36.0
sensor_height_mm = 24.0
pixels_wide = 6000
pixels_high = 4000
[lens]
focal_length_mm = 24.0
"""


@cache
def plan() -> Plan:
    """Six poses or so near the horizon, the inner ones of them three times."""
    window = Request(RegionKind.WINDOW, -35, 70, yaw_from_deg=-60, yaw_to_deg=60, passes=3, passes_within_deg=20)
    found = make_plan(kit_of(14.0, exposure={"bracket_ev": [-1.0, 1.0]}), 0.3, window)
    assert len(found.first_pass) > len([frame for frame in found.frames if frame.pass_number == 2]) > 1
    return found


class Journey:
    """A rig, and runs of the plan on it with one session, each stopped after a number of exposures."""

    def __init__(self, folder: Path) -> None:
        self.rig = Rig(rig_spec(plan().kit, 3))
        self.port = VirtualPort(self.rig)
        self.session = Session.create(folder / "s.sqlite", {"plan": plan().model_dump_json()}, durable=False)

    def run(self, stop_after: int | None = None) -> RunResult:
        """One run, which is told to stop when so many exposures were made in it."""
        requests = [] if stop_after is None else [Wanted(EventKind.STOP)]
        made_before, session = len(self.rig.truth.exposures), self.session

        def operator() -> Wanted | None:
            made = len(self.rig.truth.exposures) - made_before
            return requests.pop() if requests and made >= (stop_after or 0) else None

        program = build_program(plan().kit, plan().frames, session.made())
        runner = Runner(program, self.port, session, operator, first_id=session.next_command_id())
        session.begin_run(RunReason.RESUMED if made_before else RunReason.BEGUN, None)
        result = runner.run()
        session.end_run(result.sentence, complete=result.complete)
        return result


WHOLE = len(plan().exposures)
FIRST = 2 * len(plan().first_pass)


@settings(max_examples=8, deadline=None)
@given(stops=st.lists(st.integers(1, WHOLE - 1), min_size=1, max_size=3))
def test_a_run_stopped_in_any_pass_and_resumed_makes_every_exposure_once(
    tmp_path_factory: pytest.TempPathFactory, stops: list[int]
) -> None:
    journey = Journey(tmp_path_factory.mktemp("run"))
    for stop in stops:
        journey.run(stop_after=stop)
    assert journey.run().complete
    assert_truly_made(plan().kit, plan().frames, journey.rig.truth.exposures)
    assert journey.session.made() == plan().exposures
    assert account_of(journey.session, plan()).verdict is SetStanding.COMPLETE


@pytest.mark.parametrize("made", [1, FIRST - 1, FIRST, FIRST + 1, WHOLE - 1])
def test_a_missing_repeat_is_no_hole_and_no_complete_set(made: int, tmp_path: Path) -> None:
    journey = Journey(tmp_path)
    assert not journey.run(stop_after=made).complete
    summary = account_of(journey.session, plan())
    assert summary.verdict is SetStanding.INCOMPLETE
    assert summary.exit_status == 1
    later = {frame.id for frame in plan().frames if frame.repeats is not None}
    shot = {frame for frame, _ in journey.session.made()}
    assert set(summary.missing_frames) >= {frame.id for frame in plan().frames} - shot
    assert ("but not in every pass" in summary.headline) is (summary.exposures_made >= FIRST)
    if summary.exposures_made >= FIRST:
        assert set(summary.missing_repeats) == set(summary.missing_frames) <= later
        assert summary.covered
        assert "but shot in another pass: " in account_text(summary)
        assert shot_proof_sentence(plan(), summary).startswith("Every direction")
    else:
        assert set(summary.missing_frames) > set(summary.missing_repeats)
        assert " Missing or in doubt: " in account_text(summary)


def test_a_repeat_is_retaken_by_its_own_number_at_its_own_pose(tmp_path: Path) -> None:
    first, repeat = plan().frames[0], plan().frames[-1]
    must_be_planned((first.id, repeat.id), plan().model_dump_json(), tmp_path)
    journey = Journey(tmp_path)
    assert journey.run().complete
    journey.session.doubt_frames((repeat.id,))
    assert journey.run().complete
    counts = Counter(one.frame for one in journey.rig.truth.exposures)
    assert {frame for frame, count in counts.items() if count == 4} == {repeat.id}
    last = journey.rig.truth.exposures[-1]
    assert last.frame == repeat.id
    assert apart_deg((last.yaw_deg, last.pitch_deg), (repeat.yaw_deg, repeat.pitch_deg)) <= within_deg(plan().kit)


def test_frames_by_hand_come_last_and_once(tmp_path: Path) -> None:
    request = Request(RegionKind.BAND, -90, -40, passes=2, nadir_by_hand=True)
    by_hand = make_plan(kit_of(12.0), 0.3, request)
    world = world_of(by_hand.kit, by_hand.frames)
    assert run(world, tmp_path).result.complete
    (nadir,) = [frame for frame in by_hand.frames if frame.by_hand]
    shot = [one.frame for one in world.truth]
    assert shot == [frame.id for frame in by_hand.frames if frame is not nadir] + [nadir.id]


def test_the_card_is_sorted_by_pass_and_its_pictures_are_compared_within_each(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    shell = Shell(tmp_path, capsys, monkeypatch)
    shell.write("kit.toml", KIT)
    window = ("--region", "window", "--pitch-from", "-20", "--pitch-to", "20", "--yaw-from", "-50", "--yaw-to", "50")
    assert shell("plan", "kit.toml", "--out", "plan.json", "--passes", "2", *window, "--overlap", "0.4").status == 0
    assert shell("rehearse", "plan.json", "--out", "run", "--pictures", "card", "--scale", "0.1").status == 0
    frames = {frame.id: frame for frame in load_plan(Path("plan.json")).frames}
    spoilt = Path("card") / f"FULL{len(frames):04}.JPG"  # the last repeat
    with Image.open(spoilt) as image:
        exif = image.getexif()
        soft = image.filter(ImageFilter.GaussianBlur(3))
    soft.save(spoilt, exif=exif, quality=92)
    sorting = ("--pictures", "--out", "sorted", "--sort", "row", "--xmp", "--json")
    found = json.loads(shell("match", "run/session.sqlite", "card", *sorting).out)
    assert found["retake"] == [max(frames)]
    (note,) = [line["notes"][0] for line in found["lines"] if line["frame"] == max(frames)]
    assert "of its neighbours' detail" in note
    for line in found["lines"]:
        frame = frames[line["frame"]]
        assert (line["pass_number"], line["repeats"]) == (frame.pass_number, frame.repeats)
        (place,) = Path("sorted/pictures").rglob(f"*_{line['file']}")
        assert place.relative_to("sorted/pictures").parts[0] == f"pass-{frame.pass_number}"
        words = place.with_suffix(".xmp").read_text(encoding="utf-8")
        assert f">pass {frame.pass_number}<" in words
        assert (f">repeats frame {frame.repeats}<" in words) is (frame.repeats is not None)


def test_the_report_names_passes(tmp_path: Path) -> None:
    journey = Journey(tmp_path)
    journey.run(stop_after=FIRST + 3)
    journey.session.close()
    report_command(tmp_path / "s.sqlite", tmp_path / "audit")
    rows = list(csv.DictReader((tmp_path / "audit" / "exposures.csv").read_text(encoding="utf-8").splitlines()))
    frames = {frame.id: frame for frame in plan().frames}
    assert {row["pass_number"] for row in rows} == {"1", "2"}
    for row in rows:
        frame = frames[int(row["frame"])]
        assert int(row["pass_number"]) == frame.pass_number
        assert row["repeats"] == ("" if frame.repeats is None else str(frame.repeats))
    page = (tmp_path / "audit" / "report.html").read_text(encoding="utf-8")
    assert f"Capture of {len(plan().first_pass)} frames in 3 passes at" in page
    assert "Of these, shot in another pass: " in page
    assert "<th>repeats</th>" in page
    report_command(tmp_path / "s.sqlite", tmp_path / "audit", replace=True)
