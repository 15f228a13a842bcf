"""The report as a file: it is self-contained and says what it must."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from controller.capture.words.run import THROUGH
from controller.errors import StorageFailed
from controller.planning.make import make_plan
from controller.planning.request import Request
from controller.report.html import write_html
from controller.report.lanes import shares, stretches
from controller.report.plan_words import proof_sentence
from controller.report.summary import Summary, summarise
from controller.session.rows import Happening, Intent, ShotOutcome, ShotRow
from controller.sizes import size_text
from tests.end_to_end.whole_runs import kit_of, run, world_of

PLAN = make_plan(kit_of(14.0), 0.3)
VOID = {"meta", "link", "br", "img", "hr", "input"}
# Names of vocabularies in a drawing; they are never followed.
NAMES = re.compile(r"""xmlns(:\w+)?=["'][^"']*["']""")


NAMES_OF_DRAWINGS = ("sphere", "poles", "timeline")


def drawings(text: str) -> list[str]:
    """What begins the identities of each drawing; none is twice in a page."""
    identities = re.findall(r'\bid="([^"]+)"', text)
    assert len(set(identities)) == len(identities)
    assert set(re.findall(r'(?:href="#|url\(#)([^")]+)', text)) <= set(identities)
    return [name.removesuffix("-figure_1") for name in identities if name.endswith("-figure_1")]


class Strict(HTMLParser):
    """Collects text, tags and attributes, and checks that every opened tag is closed."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def written(folder: Path, summary: Summary, happenings: list[Happening]) -> tuple[str, Strict]:
    path = folder / "report.html"
    path.unlink(missing_ok=True)  # a page is never overwritten
    write_html(path, PLAN, summary, happenings)
    text = path.read_text(encoding="utf-8")
    page = Strict()
    page.feed(text)
    page.close()
    assert page.open == []
    return text, page


@pytest.fixture(scope="module")
def rehearsed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Summary, list[Happening]]:
    """A rehearsal of the whole plan."""
    world = world_of(PLAN.kit, PLAN.frames)
    done = run(world, tmp_path_factory.mktemp("run"))
    summary = summarise(
        PLAN,
        done.shots,
        kind="rehearsal",
        seed=5,
        sentence=done.result.sentence,
        seconds=done.result.seconds,
    )
    return summary, done.happenings


Rehearsed = tuple[Summary, list[Happening]]


def test_the_report_stands_alone(rehearsed: Rehearsed, tmp_path: Path) -> None:
    text, page = written(tmp_path, *rehearsed)
    assert text.startswith("<!doctype html>")
    assert page.tags.count("script") == 1  # the switch of looks
    assert not {"link", "img", "iframe", "object"} & set(page.tags)
    for name, value in page.attributes:
        if name in {"src", "href", "xlink:href"}:
            assert value.startswith(("#", "data:image/")), (name, value)
    rest, names = NAMES.subn("", text)
    assert names >= page.tags.count("svg") > 0
    assert not re.search(r"https?:|://|//www|rdf:|@import", rest, re.IGNORECASE)
    assert not re.search(r"url\((?!#)", rest)


def test_the_report_says_what_it_must(rehearsed: Rehearsed, tmp_path: Path) -> None:
    summary, happenings = rehearsed
    text, page = written(tmp_path, *rehearsed)
    words = " ".join(page.text.split())
    assert proof_sentence(PLAN) in words
    assert "nothing was photographed" in words
    assert f"{summary.exposures_made} of {summary.exposures_planned}" in words
    assert summary.headline in words
    assert "hole" not in words
    assert PLAN.hash in words
    assert "seed 5" in words
    assert drawings(text) == [f"{name}-{device}" for name in NAMES_OF_DRAWINGS for device in ("desk", "phone")]
    for name in ("toward the zenith", "toward the nadir", "The sphere, unrolled", "The run in time"):
        assert name in words
    rows = max(frame.row for frame in PLAN.frames) + 1
    kinds = len(shares(stretches(happenings, summary.virtual_seconds)))
    assert page.tags.count("tr") == rows + 1 + kinds + 1
    assert "Frames not complete" not in words


def test_missing_frames_are_named_and_their_holes_drawn(tmp_path: Path) -> None:
    shots = [
        ShotRow(number, Intent(frame, 0, 1, number, 0.0, 0.0, 0.01), number, ShotOutcome.CONFIRMED, number, None)
        for number, frame in enumerate((frame.id for frame in PLAN.frames if frame.id not in {3, 11}), 1)
    ]
    short = summarise(PLAN, shots, kind="capture", seed=None, sentence="It <stopped>.", seconds=1.0)
    text, page = written(tmp_path, short, [])
    words = " ".join(page.text.split())
    assert "The set is not complete." in words
    assert "Frames not complete: 3, 11." in words
    assert "How the last run ended: It <stopped>." in words
    assert "<stopped>" not in text  # texts from files and boards are text, never markup
    assert "no place is missing" not in words
    assert "There are holes" in words
    assert words.count("hole: in no core") == words.count("missing frame") == 4  # in both pictures, for desk and phone
    assert size_text(len(shots) * PLAN.kit.file_megabytes() * 1e6) in words  # not the whole plan's


def test_an_assumed_set_is_not_called_complete(tmp_path: Path) -> None:
    plan = make_plan(kit_of(14.0, board={"sync_contact": False}), 0.3)
    shots = [
        ShotRow(number, Intent(frame.id, 0, 1, number, 0.0, 0.0, 0.01), number, ShotOutcome.ASSUMED, number, None)
        for number, frame in enumerate(plan.frames, 1)
    ]
    summary = summarise(plan, shots, kind="capture", seed=None, sentence=THROUGH, seconds=1.0)
    write_html(tmp_path / "report.html", plan, summary, [])
    text = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert f"{len(shots)} of {len(shots)} assumed, none confirmed (no sync contact)." in text
    assert "is complete" not in text


def test_the_same_run_gives_the_same_bytes(rehearsed: Rehearsed, tmp_path: Path) -> None:
    first, _ = written(tmp_path, *rehearsed)
    second, _ = written(tmp_path, *rehearsed)
    assert first == second


def test_a_run_that_ended_before_it_began(tmp_path: Path, rehearsed: Rehearsed) -> None:
    summary, _ = rehearsed
    text, _ = written(tmp_path, summary, [])
    assert len(drawings(text)) == 2 * len(NAMES_OF_DRAWINGS)


def test_a_place_that_cannot_be_written(rehearsed: Rehearsed, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(StorageFailed, match="cannot be written"):
        write_html(tmp_path / "file" / "report.html", PLAN, *rehearsed)


def test_what_is_out_of_reach_is_said_where_there_is_any(tmp_path: Path) -> None:
    low = kit_of(14.0, head={"tilt": {"min_deg": -20.0}})
    for number, (kit, said) in enumerate(((low, True), (kit_of(14.0), False))):
        path = tmp_path / f"report-{number}.html"
        plan = make_plan(kit, 0.3, Request(allow_unreachable=True))
        summary = summarise(plan, [], kind="rehearsal", seed=1, sentence="Over.", seconds=1.0)
        write_html(path, plan, summary, [])
        text = path.read_text(encoding="utf-8")
        assert (f"{plan.region.unreachable_sr:.3f} steradians" in text) == said
        assert (plan.region.unreachable_sr > 0) == said
