"""The audit of a session agrees with its rows, in every file and by its exit status, whatever happened before."""

from __future__ import annotations

import csv
import json
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.cli.main import cli
from controller.commands.account import report_command
from controller.errors import StorageFailed
from controller.lock import lock_of, sole_use
from controller.planning.make import make_plan
from controller.planning.request import RegionKind, Request
from controller.report import html
from controller.session.rows import DoubtReason, Intent, Moment, RequestRow, RunReason, ShotOutcome
from controller.session.session import Session
from controller.showing import shown_run
from tests.end_to_end.whole_runs import kit_of

WINDOW = Request(region=RegionKind.WINDOW, pitch_from_deg=-40, pitch_to_deg=40, yaw_from_deg=-90, yaw_to_deg=90)
PLAN = make_plan(kit_of(12.0, exposure={"bracket_ev": [-1, 1]}), 0.3, WINDOW)
ABOUT = {"kind": "capture", "plan": PLAN.model_dump_json(), "plan_hash": PLAN.hash}
EVERY = sorted(PLAN.exposures)
FRAMES = [frame.id for frame in PLAN.frames]
C, A = ShotOutcome.CONFIRMED, ShotOutcome.ASSUMED

frames = st.sets(st.sampled_from(FRAMES), min_size=1, max_size=2)
happenings = st.lists(
    st.one_of(
        st.tuples(st.just("shoot"), st.sampled_from(EVERY), st.sampled_from([*ShotOutcome, None])),
        st.tuples(st.just("shoot all"), st.sampled_from([C, C, C, A])),
        st.tuples(st.just("suspect"), st.sets(st.sampled_from(EVERY), min_size=1)),
        st.tuples(st.just("ask"), frames),
        st.tuples(st.just("ask and retake"), frames),
        st.tuples(st.just("check"), st.sampled_from([("pan", "tilt"), ("pan",), ("tilt",)])),
        st.tuples(st.just("pause")),
        st.tuples(st.just("run begins")),
        st.tuples(st.just("run ends"), st.booleans()),
    ),
    max_size=12,
)


class Rig:
    """A session, and the expected state of each exposure: what was made, and what of that still counts."""

    def __init__(self, session: Session) -> None:
        self.session, self.number = session, 0
        session.begin_run(RunReason.BEGUN, None)
        self.counting: dict[tuple[int, int], set[ShotOutcome]] = {one: set() for one in EVERY}
        self.asked: set[int] = set()
        self.openings = 0
        self.latest = dict.fromkeys(EVERY, 0)  # number of the latest opening that counts
        self.checked = dict.fromkeys(("pan", "tilt"), 0)

    @property
    def unchecked(self) -> list[str]:
        """Axes that made counting exposures since their zero was last checked."""
        return [axis for axis, upto in self.checked.items() if max(self.latest.values()) > upto]

    def shoot(self, exposure: tuple[int, int], outcome: ShotOutcome | None) -> None:
        self.number += 1
        self.session.intend(Intent(*exposure, 1, self.number, 0.0, 0.0, 0.01), self.number)
        if outcome is not None:
            self.session.conclude(self.number, outcome, self.number + 1, None)
        if outcome in {C, A}:
            assert outcome is not None
            self.counting[exposure].add(outcome)
            self.latest[exposure] = self.number
            self.openings += 1

    def take_requests(self) -> None:
        while (asked := self.session.take_request()) is not None:
            if asked.wanted == "retake":
                self.session.doubt_frames(asked.frames)
                self.forget({one for one in EVERY if one[0] in asked.frames})
        self.asked = set()

    def forget(self, exposures: set[tuple[int, int]]) -> None:
        for one in exposures:
            self.counting[one], self.latest[one] = set(), 0

    def happens(self, what: str, *more: Any) -> None:
        if what == "shoot":
            self.shoot(*more)
        elif what == "shoot all":
            for exposure in EVERY:
                self.shoot(exposure, *more)
        elif what == "suspect":
            self.session.doubt(sorted(*more), DoubtReason.SUSPECT)
            self.forget(*more)
        elif what == "check":
            self.session.note_checked(more[0])
            self.checked |= dict.fromkeys(more[0], self.number)
        elif what == "pause":
            self.session.request(RequestRow("pause"))
        elif what == "run begins":
            self.take_requests()
            self.session.begin_run(RunReason.RESUMED, Moment(self.number, "2026-01-01T00:00:00+00:00"))
        elif what == "run ends":
            self.session.end_run("The run is through." if more[0] else "Halted as asked.", complete=more[0])
        else:
            self.session.request(RequestRow("retake", tuple(sorted(*more))))
            self.asked |= more[0]
            if what == "ask and retake":
                self.take_requests()

    def now(self) -> dict[tuple[int, int], set[ShotOutcome]]:
        """What counts of each exposure; nothing of frames that are requested again."""
        return {one: set() if one[0] in self.asked else made for one, made in self.counting.items()}


@contextmanager
def unpainted() -> Iterator[None]:
    """Leave out the pictures, which take a second and are not tested here."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(html, "run_drawings", lambda *_: None)
        yield


@given(happenings)
@settings(max_examples=60)
def test_headline_files_and_exit_status_say_what_the_rows_say(happened: list[tuple[Any, ...]]) -> None:
    with tempfile.TemporaryDirectory() as folder, unpainted():
        path, out = Path(folder) / "s.sqlite", Path(folder) / "audit"
        with Session.create(path, ABOUT, durable=False) as session:
            rig = Rig(session)
            for each in happened:
                rig.happens(*each)
        shell = CliRunner()
        text = shell.invoke(cli, ["report", str(path)])
        data = shell.invoke(cli, ["report", str(path), "--json", "--out", str(out)])
        said = json.loads(data.output)
        assert said == json.loads((out / "report.json").read_text(encoding="utf-8"))
        page = (out / "report.html").read_text(encoding="utf-8")
        lines = list(csv.DictReader((out / "exposures.csv").read_text(encoding="utf-8").splitlines()))
        assert [line["outcome"] for line in lines] == [
            line["outcome"] for line in json.loads((out / "exposures.json").read_text(encoding="utf-8"))
        ]
    now = rig.now()
    missing = [one for one in EVERY if not now[one]]
    assumed = [one for one in EVERY if now[one] == {A}]
    unchecked = rig.unchecked
    assert said["unchecked_axes"] == unchecked
    assert said["complete"] is (not missing and not assumed and not unchecked)
    for words in (text.output, said["headline"], said["sentence"], page):
        assert ("The set is complete" in words) is (said["complete"] and words is not said["sentence"])
        if words is not said["sentence"]:
            assert ("as far as can be known" in words) is (not missing and bool(assumed) and not unchecked)
            assert said["headline"] in words
    assert said["missing_frames"] == sorted({frame for frame, _ in missing})
    if missing:
        assert f"({', '.join(map(str, said['missing_frames']))})" in text.output
        assert f"Frames not complete: {', '.join(map(str, said['missing_frames']))}." in page
    assert text.exit_code == data.exit_code == said["exit_status"] == bool(missing or unchecked)
    assert said["exposures_confirmed"] == sum(C in made for made in now.values())
    assert said["exposures_assumed"] == len(assumed)
    assert said["card_megabytes"] == pytest.approx(rig.openings * PLAN.kit.file_megabytes(), abs=0.06)
    counting = {
        (int(line["frame"]), int(line["exposure"])) for line in lines if line["outcome"] in {"confirmed", "assumed"}
    }
    assert counting == {one for one in EVERY if now[one]}


def recorded(path: Path, outcome: ShotOutcome = C) -> Path:
    """A session in which every exposure was made, by a run that said so at its end."""
    with Session.create(path, ABOUT, durable=True) as session:
        rig = Rig(session)
        rig.happens("shoot all", outcome)
        rig.happens("check", ("pan", "tilt"))
        rig.happens("run ends", True)
    return path


def test_while_a_run_works_on_it_the_account_says_how_far_it_is(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    with Session.create(path, ABOUT, durable=True) as session:
        Rig(session).shoot(EVERY[0], C)
    with sole_use(lock_of(path), str(path), "fullturn capture"):
        summary = report_command(path, None)
    assert (summary.verdict, summary.exit_status) == ("under way", 1)
    assert summary.headline == f"The run is under way: 1 of {len(EVERY)} exposures made so far."
    over = report_command(path, None)
    assert (over.verdict, over.sentence) == ("incomplete", "The run did not come to its end.")


def test_a_lock_that_cannot_be_looked_at_does_not_keep_the_account_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(_: Path) -> bool:
        raise StorageFailed("no locks here")

    monkeypatch.setattr(shown_run, "in_use", broken)
    assert report_command(recorded(tmp_path / "s.sqlite"), None).complete


def test_a_run_that_was_killed_leaves_no_sentence_of_the_run_before(tmp_path: Path) -> None:
    path = recorded(tmp_path / "s.sqlite")
    with Session.open(path, to_write=True) as session:
        session.end_run("Halted as asked.", complete=False)
        session.begin_run(RunReason.RESUMED, Moment(0, "2026-01-01T00:00:00+00:00"))
    assert report_command(path, None).sentence == "The run did not come to its end."
