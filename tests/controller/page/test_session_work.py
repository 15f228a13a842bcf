"""Work about a session that the page begins: reports, cards, inspections, and the folders that they leave."""

from __future__ import annotations

import asyncio
import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import InputError
from controller.page.card_asked import CardAsked, card_arguments, has_pictures, inspect_arguments, report_arguments
from controller.page.made_folders import KeptResult, MadeFolder, MadeKind, made_folders, made_of
from controller.page.served import ServedFolder
from controller.page.work import Jobs
from controller.report.own_pages import GENERATOR
from tests.controller.commands.shot_card import EXPOSURES, card_at, session_at
from tests.controller.page.sessions_made import browser_of, page_of, shoot, small_plan, words_of

OLD = Path(__file__).parents[1] / "session" / "old" / "version_5" / "finished.sqlite"


def carried_out(folder: Path, arguments: list[str]) -> Any:
    """The work, done as the page does it."""

    async def work() -> Any:
        job = Jobs(folder).begin("Work", "subject", arguments)
        assert job.task is not None
        await job.task
        return job.as_json()

    return asyncio.run(work())


def test_a_report_is_written_beside_the_session_and_opens_from_it(tmp_path: Path) -> None:
    folder = tmp_path
    shoot(folder / "2026-06-21-ledge-2.sqlite", stop_after=1)
    shoot(folder / "by-hand.sqlite")
    page = page_of(folder)
    session = page.folder.find("2026-06-21-ledge-2.sqlite")
    assert session is not None
    out, arguments = report_arguments(page.folder, session)
    job = carried_out(folder, arguments)
    assert out.name == "2026-06-21-ledge-2-report"
    assert (job["status"], job["answered"]) == (1, True), "the set is incomplete, and the report is written"
    assert report_arguments(page.folder, session)[0].name == "2026-06-21-ledge-2-report-2"
    with browser_of(page) as browser:
        one = browser.get("/sessions/2026-06-21-ledge-2.sqlite").text
        assert f'href="/file/{out.name}/report.html"' in one
        assert browser.get(f"/file/{out.name}/report.html").status_code == 200
        inside = words_of(browser.get(f"/folders/{out.name}").text)
        assert out.name not in browser.get("/sessions/by-hand.sqlite").text
        assert "The set is not complete." in words_of(browser.get("/sessions").text)
    assert "report.html the report, with pictures of the sphere" in inside
    assert "exposures.csv a table of all exposures" in inside


def test_a_sorted_card_says_what_the_command_says_and_which_frames_to_shoot_again(tmp_path: Path) -> None:
    session_at(tmp_path / "s.sqlite")
    card_at(tmp_path / "card", without=(4,))
    page = page_of(tmp_path)
    session = page.folder.find("s.sqlite")
    assert session is not None
    with browser_of(page) as browser:
        assert "<option>card</option>" in browser.get("/sessions/s.sqlite").text
        out, arguments = card_arguments(page.folder, session, CardAsked(pictures="card", by="row", link=True))
        assert carried_out(tmp_path, arguments)["answered"]
        found = json.loads((out / "match.json").read_text(encoding="utf-8"))
        assert found["retake"] == [EXPOSURES[4][0]]
        one = browser.get("/sessions/s.sqlite").text
        for sentence in found["sentences"]:
            assert " ".join(sentence.split()) in words_of(one)
        assert "paired with the session's exposures" in words_of(one)
        assert f'data-retake="{EXPOSURES[4][0]}"' in one
        assert "changed since" not in one
        assert browser.post("/run/s.sqlite/tell", json={"words": f"retake {EXPOSURES[4][0]}"}).status_code == 200
        assert "The session has changed since this was written." in words_of(browser.get("/sessions/s.sqlite").text)
        assert "<option>s-card</option>" not in browser.get("/sessions/s.sqlite").text, "no card, but our own folder"


def test_work_is_asked_for_by_the_page_and_shows_among_its_jobs(tmp_path: Path) -> None:
    shoot(tmp_path / "by-hand.sqlite")
    page = page_of(tmp_path)
    (tmp_path / "card").mkdir()
    with browser_of(page) as browser:
        reply = browser.post("/sessions/by-hand.sqlite/inspect", json={"pictures": "card"})
        assert (reply.status_code, reply.json()["job"]) == (200, 1)
        refused = browser.post("/sessions/by-hand.sqlite/match", json={"pictures": "../card"})
        assert refused.status_code == 400
        assert browser.post("/sessions/by-hand.sqlite/match", json={"pictures": "card", "by": "--x"}).status_code == 400
        browser.run(page.jobs.end())


@given(stem=st.text("ab-123", min_size=1, max_size=12), other=st.text("ab-123", min_size=1, max_size=12))
def test_work_belongs_to_the_session_that_it_was_made_of(stem: str, other: str) -> None:
    of = {f"{each}-{kind}{more}": each for each in (other, stem) for kind in ("report", "card") for more in ("", "-2")}
    folders: list[Any] = [MadeFolder(name, MadeKind.CARD, "", "", 0, KeptResult()) for name in of]
    assert {each.name for each in made_of(stem, folders)} == {name for name, each in of.items() if each == stem}


@pytest.mark.parametrize(
    "content",
    ["", "[]", "{", '{"sentences": 3}', '{"retake": ["1"]}', '{"retake": [1.5]}', '{"headline": null}', "[" * 9999],
)
def test_a_spoiled_result_says_nothing_and_offers_nothing(tmp_path: Path, content: str) -> None:
    shoot(tmp_path / "s.sqlite", stop_after=1)
    for name, file in (("s-card", "match.json"), ("s-report", "report.json")):
        (tmp_path / name).mkdir()
        (tmp_path / name / file).write_text(content, encoding="utf-8")
    (found,) = made_folders(ServedFolder.at(tmp_path))
    assert (found.name, list(found.sentences), found.result.retake) == ("s-card", [], [])
    with browser_of(page_of(tmp_path)) as browser:
        assert "data-retake" not in browser.get("/sessions/s.sqlite").text


def test_a_rehearsal_is_listed_with_what_is_in_its_folder(tmp_path: Path) -> None:
    plan = tmp_path / "plan.json"
    plan.write_text(small_plan().model_dump_json(), encoding="utf-8")
    assert carried_out(tmp_path, ["rehearse", "--out=try", "--json", "--", "plan.json"])["status"] == 0
    with browser_of(page_of(tmp_path)) as browser:
        words = words_of(browser.get("/sessions").text)
        inside = browser.get("/folders/try").text
    assert "try (rehearsal) The set is complete." in words
    assert "run.html the run in time, frame by frame" in words_of(inside)
    assert 'href="/file/try/run.html"' in inside
    assert "/file/try/session.sqlite" not in inside, "what the page does not serve is no link"


def test_pictures_are_looked_for_a_few_folders_deep(tmp_path: Path) -> None:
    (tmp_path / "deep" / "DCIM" / "100ANVIL").mkdir(parents=True)
    assert not has_pictures(tmp_path / "deep")
    (tmp_path / "deep" / "DCIM" / "100ANVIL" / "FULL0001.JPG").touch()
    assert has_pictures(tmp_path / "deep")
    (tmp_path / "hidden" / ".DCIM").mkdir(parents=True)
    (tmp_path / "hidden" / ".DCIM" / "FULL0001.JPG").touch()
    (tmp_path / "hidden" / "._FULL0001.JPG").touch()
    assert not has_pictures(tmp_path / "hidden")


def test_no_value_of_a_form_can_become_an_option(tmp_path: Path) -> None:
    folder = ServedFolder.at(tmp_path)
    (tmp_path / "--sort=row").mkdir()
    shutil.copy(OLD, tmp_path / "--help.sqlite")
    session = folder.find("--help.sqlite")
    assert session is not None
    for out, arguments in (
        report_arguments(folder, session),
        card_arguments(folder, session, CardAsked(pictures="--sort=row")),
        inspect_arguments(folder, session, CardAsked(pictures="--sort=row")),
    ):
        end = arguments.index("--")
        assert arguments[1] == f"--out={out}"
        assert all(Path(each).is_absolute() for each in arguments[end + 1 :])
    with pytest.raises(InputError, match="no such folder of pictures"):
        card_arguments(folder, session, CardAsked(pictures="gone"))


def test_an_inspection_opens_its_proof_sheet_and_names_the_frames_to_shoot_again(tmp_path: Path) -> None:
    shoot(tmp_path / "s.sqlite")
    proof = tmp_path / "s-inspection"
    proof.mkdir()
    found = {"sentences": ["Frame 1: it is soft."], "retake": [1, 2], "frames": [], "links": []}
    (proof / "inspection.json").write_text(json.dumps(found), encoding="utf-8")
    (proof / "proof.html").write_text("<p>somebody else's", encoding="utf-8")
    with browser_of(page_of(tmp_path)) as browser:
        assert "s-inspection" not in browser.get("/sessions/s.sqlite").text, "a page that is not ours is not offered"
        (proof / "proof.html").write_bytes(b"<!doctype html>\n" + GENERATOR)
        one = browser.get("/sessions/s.sqlite").text
    assert 'href="/file/s-inspection/proof.html"' in one
    assert "Inspection: s-inspection Frame 1: it is soft. Look at the proof sheet" in words_of(one)
    assert 'data-retake="1,2"' in one
