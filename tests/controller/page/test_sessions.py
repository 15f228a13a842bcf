"""Sessions on the page: the list and its groups, a session's account, and the work about it."""

from __future__ import annotations

import asyncio
import json
import shutil
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.commands.account import report_command
from controller.errors import InputError
from controller.lock import lock_of, sole_use
from controller.page import listed
from controller.page.account import Accounts, shown_account
from controller.page.card_asked import CardAsked, card_arguments, has_pictures, inspect_arguments, report_arguments
from controller.page.grouped import groups_of
from controller.page.listed import SessionList
from controller.page.made_folders import KeptResult, MadeFolder, MadeKind, made_folders, made_of
from controller.page.served import ServedFolder
from controller.page.work import Jobs
from controller.report.account_words import account_text
from controller.session.session import Session
from tests.controller.commands.shot_card import EXPOSURES, card_at, session_at
from tests.controller.page.sessions_made import browser_of, page_of, shoot, small_plan, words_of

KEPT = Path(__file__).parents[1] / "session" / "old"
OLD = sorted(KEPT.glob("*/*.sqlite"))
FRAMES = len(small_plan().frames)
NASTY = '<img src=x onerror="alert(1)">&amp;.sqlite'


@pytest.fixture(scope="module")
def shot(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Sessions of a day at the ledge, and others."""
    folder = tmp_path_factory.mktemp("shot")
    shoot(folder / "2026-06-21-ledge-1.sqlite")
    shoot(folder / "2026-06-21-ledge-2.sqlite", stop_after=1)
    shoot(folder / "2026-06-21-ledge-3.sqlite", contact=False)
    shoot(folder / "by-hand.sqlite")
    return folder


@pytest.fixture
def folder(shot: Path, tmp_path: Path) -> Path:
    for each in shot.iterdir():
        shutil.copy2(each, tmp_path / each.name)
    return tmp_path


def test_an_empty_folder_says_so_and_offers_a_run(tmp_path: Path) -> None:
    with browser_of(page_of(tmp_path)) as browser:
        answer = browser.get("/sessions")
    assert answer.status_code == 200
    assert "There is no session in this folder yet." in words_of(answer.text)
    assert 'href="/begin"' in answer.text


def test_the_list_groups_by_place_and_day_and_counts_each_standing(folder: Path) -> None:
    with browser_of(page_of(folder), controls=False) as browser:
        words = words_of(browser.get("/sessions").text)
    assert "ledge, 21 June 2026: 3 sets, 1 complete, 1 assumed, 1 incomplete" in words
    assert "21 June 2026: 1 set, 1 complete" in words.replace("ledge, 21 June", "")
    assert f"incomplete: {FRAMES - 1} frame" in words
    assert f"1 of {FRAMES} exposures" in words


@pytest.mark.parametrize("kept", OLD, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_the_list_says_what_the_report_says_of_every_kept_session(kept: Path, tmp_path: Path) -> None:
    """No proof is made for the list, and the standing is the same; the account has the words of `fullturn report`."""
    for each in kept.parent.glob(f"{kept.name}*"):
        shutil.copy(each, tmp_path / each.name)
    path = tmp_path / kept.name
    (found,) = SessionList(ServedFolder.at(tmp_path)).look()
    assert found.counts is not None
    summary, account = report_command(path, None), shown_account(path, under_way=False)
    assert found.standing is summary.verdict, found.counts.why
    assert (found.counts.made, found.counts.planned) == (summary.exposures_made, summary.exposures_planned)
    assert found.counts.missing_frames == len(summary.missing_frames)
    assert account.headline == summary.headline
    assert set(account_text(summary).replace(".", "").split()) <= set(
        " ".join([account.headline, *account.sentences]).replace(".", "").split()
    )
    assert account.headline not in account.sentences[0]


def test_the_list_refuses_what_the_report_refuses(tmp_path: Path) -> None:
    for kept in sorted(KEPT.glob("*.sqlite")):
        shutil.copy(kept, tmp_path / kept.name)
        (tmp_path / f"no-session-{kept.name}").write_bytes(kept.read_bytes()[100:])
    listed_now = SessionList(ServedFolder.at(tmp_path)).look()
    refused = 0
    for each in listed_now:
        assert each.counts is not None
        if each.standing is None:
            with pytest.raises(InputError) as raised:
                report_command(tmp_path / each.name, None)
            assert each.counts.why == str(raised.value).replace(f"{tmp_path}/", "")
            refused += 1
        else:
            assert each.standing is report_command(tmp_path / each.name, None).verdict
    assert refused > 0


def test_two_hundred_sessions_are_each_read_once(
    folder: Path, tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    many = tmp_path_factory.mktemp("many")
    for number in range(1, 201):
        shutil.copy(folder / "2026-06-21-ledge-1.sqlite", many / f"2026-06-21-ledge-{number}.sqlite")
    reads: list[str] = []
    read = listed.read_counts

    def counted(path: Path) -> listed.SessionCounts:
        reads.append(path.name)
        return read(path)

    monkeypatch.setattr(listed, "read_counts", counted)
    sessions = SessionList(ServedFolder.at(many))
    unread = [sum(each.counts is None for each in sessions.look()) for _ in range(6)]
    assert unread == [150, 100, 50, 0, 0, 0]
    assert len(reads) == len(set(reads)) == 200
    with Session.open(many / "2026-06-21-ledge-7.sqlite", to_write=True) as session:
        session.note_about("place", "ledge")
    assert len(sessions.look()) == 200
    assert reads[200:] == ["2026-06-21-ledge-7.sqlite"]
    (many / "2026-06-21-ledge-9.sqlite").unlink()
    assert len(sessions.look()) == 199
    assert len(reads) == 201
    (group,) = groups_of(sessions.look())
    assert group.heading == "ledge, 21 June 2026: 199 sets, 199 complete"


def test_what_is_unread_is_said_and_not_guessed(folder: Path) -> None:
    first, *others = SessionList(ServedFolder.at(folder)).look(most_reads=1)
    assert first.standing is not None
    assert {each.standing_words for each in others} == {listed.UNREAD}
    assert not any(each.lacks for each in others)


def test_a_session_written_while_it_may_not_be_read_is_shown_as_it_was(folder: Path) -> None:
    sessions = SessionList(ServedFolder.at(folder))
    before = sessions.look()
    with Session.open(folder / "by-hand.sqlite", to_write=True) as session:
        session.note_about("place", "ledge")
    assert {each.name: each.counts for each in sessions.look(most_reads=0)} == {each.name: each.counts for each in before}


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=30, deadline=None)
@given(data=st.data())
def test_a_spoiled_session_never_takes_the_list_away(shot: Path, tmp_path: Path, data: st.DataObject) -> None:
    content = bytearray((shot / "by-hand.sqlite").read_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        at, length = data.draw(st.integers(0, len(content) - 1)), data.draw(st.integers(1, 5000))
        content[at : at + length] = data.draw(st.binary(min_size=1, max_size=40))
    (tmp_path / "spoiled.sqlite").write_bytes(content[: data.draw(st.integers(0, len(content)))])
    (tmp_path / "spoiled.sqlite-wal").unlink(missing_ok=True)
    (found,) = SessionList(ServedFolder.at(tmp_path)).look()
    assert found.counts is not None
    assert (found.standing is None) is bool(found.counts.why)
    assert str(tmp_path) not in found.counts.why


def test_damaged_and_foreign_files_have_their_pages(folder: Path) -> None:
    (folder / "notes.sqlite").write_text("no session", encoding="utf-8")
    (folder / "folder.sqlite").mkdir()
    whole = (folder / "by-hand.sqlite").read_bytes()
    (folder / "by-hand.sqlite").write_bytes(whole[: len(whole) // 2])
    with browser_of(page_of(folder)) as browser:
        words = words_of(browser.get("/sessions").text)
        assert "notes.sqlite cannot be read" in words
        assert ": 2 files that cannot be read" in words
        for name in ("notes", "by-hand"):
            page = browser.get(f"/sessions/{name}.sqlite")
            assert page.status_code == 200
            assert "Shoot what is missing" not in page.text
        assert "is not a session of this program" in words_of(browser.get("/sessions/notes.sqlite").text)
        refused = browser.get("/sessions/notes.sqlite/account")
    assert refused.status_code == 400
    assert refused.json()["sentence"].startswith("notes.sqlite: is not a session"), "nobody learns where the folder is"


class Tags(HTMLParser):
    """The tags of a page, and what may not stand in one under its content security policy."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.inline: list[str] = []
        self.nameless: list[str] = []
        self.images = 0
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = dict(attrs)
        self.images += tag == "img"
        if tag == "style" or "style" in names or any(name.startswith("on") for name in names):
            self.inline.append(tag)
        if tag == "script" and "src" not in names:
            self.inline.append(tag)


@pytest.mark.parametrize("name", [NASTY, "'\"><b>.sqlite", "%2e%2e.sqlite", "a?b#c.sqlite", "ümläut – 雪.sqlite"])
def test_a_name_is_only_ever_a_name(folder: Path, name: str) -> None:
    shutil.copy(folder / "2026-06-21-ledge-2.sqlite", folder / name)
    (folder / name.replace(".sqlite", "-card")).mkdir()
    sentences = {"sentences": ["<script>alert(1)</script>"], "retake": [1]}
    (folder / name.replace(".sqlite", "-card") / "match.json").write_text(json.dumps(sentences), encoding="utf-8")
    with browser_of(page_of(folder)) as browser:
        found = browser.get("/sessions")
        links = [part.split('"')[0] for part in found.text.split('href="/sessions/')[1:]]
        pages = [found, *(browser.get(f"/sessions/{link}") for link in links)]
        pages += [browser.get(f"/folders/{part.split(chr(34))[0]}") for part in found.text.split('href="/folders/')[1:]]
    assert len(pages) == 1 + 5 + 1
    assert all(page.status_code == 200 for page in pages)
    assert any(f"The session {name}" in words_of(page.text) or name in words_of(page.text) for page in pages[1:])
    for page in pages:
        tags = Tags(page.text)
        assert (tags.inline, tags.images) == ([], 0)


def test_a_session_that_lacks_frames_offers_a_run_with_its_cautions(folder: Path) -> None:
    with browser_of(page_of(folder)) as browser:
        lacks = browser.get("/sessions/2026-06-21-ledge-2.sqlite").text
        whole = browser.get("/sessions/2026-06-21-ledge-1.sqlite").text
        account = browser.get("/sessions/2026-06-21-ledge-2.sqlite/account").json()
    words = words_of(lacks)
    assert words.index("The head moves by itself") < words.index("Shoot what is missing: the head will move")
    assert "emergency" not in lacks.lower()
    assert 'value="ledge-port"' in lacks
    assert 'id="resume"' not in whole
    assert account["headline"] == "The set is not complete."
    assert account["sentences"][0].startswith(f"1 of {FRAMES} exposures made (1 confirmed, 0 assumed).")


def test_a_run_under_way_is_said_and_looked_at(folder: Path) -> None:
    path = folder / "2026-06-21-ledge-2.sqlite"
    with browser_of(page_of(folder)) as browser:
        assert browser.get(f"/sessions/{path.name}/account").json()["headline"] == "The set is not complete."
        with sole_use(lock_of(path), "the session", "a test"):
            words = words_of(browser.get("/sessions").text)
            one = browser.get(f"/sessions/{path.name}").text
            account = browser.get(f"/sessions/{path.name}/account").json()
        after = browser.get(f"/sessions/{path.name}").text
    assert "3 sets, 1 complete, 1 assumed, 1 under way" in words
    assert f'href="/?session={path.name}">Look at the run' in one
    assert 'id="resume"' not in one
    assert 'id="resume"' in after
    assert account["headline"] == f"The run is under way: 1 of {FRAMES} exposures made so far."


def test_the_record_of_a_rehearsal_offers_no_run(tmp_path: Path) -> None:
    shoot(tmp_path / "try.sqlite", stop_after=1, kind="rehearsal")
    with browser_of(page_of(tmp_path)) as browser:
        text = browser.get("/sessions/try.sqlite").text
    assert "This is the record of a rehearsal" in words_of(text)
    assert 'id="resume"' not in text


def test_an_account_is_worked_out_once_for_each_state(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    worked: list[Path] = []

    def shown(path: Path, *, under_way: bool) -> Any:
        worked.append(path)
        return shown_account(path, under_way=under_way)

    monkeypatch.setattr("controller.page.account.shown_account", shown)
    accounts, path = Accounts(), folder / "by-hand.sqlite"
    assert accounts.of(path) == accounts.of(path)
    assert len(worked) == 1
    with Session.open(path, to_write=True) as session:
        session.doubt_frames([small_plan().frames[0].id])
    assert accounts.of(path).headline == "The set is not complete."
    assert len(worked) == 2


def test_who_looks_on_reads_and_begins_nothing(folder: Path) -> None:
    page = page_of(folder)
    with browser_of(page), browser_of(page, controls=False) as browser:
        assert browser.get("/sessions/by-hand.sqlite").status_code == 200
        for work in ("report", "match", "inspect"):
            assert browser.post(f"/sessions/by-hand.sqlite/{work}", json={}).status_code == 403
    assert sorted(folder.iterdir()) == sorted(each for each in folder.iterdir() if each.suffix or each.name[0] == ".")


@pytest.mark.parametrize("path", ["gone.sqlite", "kit.toml", "..%2Fsecret.sqlite", "%00.sqlite"])
def test_only_a_session_of_the_folder_has_a_page(folder: Path, path: str) -> None:
    (folder / "kit.toml").touch()
    with browser_of(page_of(folder)) as browser:
        for asked in (f"/sessions/{path}", f"/sessions/{path}/account", f"/folders/{path}"):
            assert browser.get(asked).status_code in {400, 404}
        assert browser.post(f"/sessions/{path}/report", json={}).status_code in {400, 404}


def carried_out(folder: Path, arguments: list[str]) -> Any:
    """The work, done as the page does it."""

    async def work() -> Any:
        job = Jobs(folder).begin("Work", "subject", arguments)
        assert job.task is not None
        await job.task
        return job.as_json()

    return asyncio.run(work())


def test_a_report_is_written_beside_the_session_and_opens_from_it(folder: Path) -> None:
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


def test_work_is_asked_for_by_the_page_and_shows_among_its_jobs(folder: Path) -> None:
    page = page_of(folder)
    (folder / "card").mkdir()
    with browser_of(page) as browser:
        reply = browser.post("/sessions/by-hand.sqlite/inspect", json={"pictures": "card"})
        assert (reply.status_code, reply.json()["job"]) == (200, 1)
        refused = browser.post("/sessions/by-hand.sqlite/match", json={"pictures": "../card"})
        assert refused.status_code == 400
        assert browser.post("/sessions/by-hand.sqlite/match", json={"pictures": "card", "by": "--x"}).status_code == 400
        page.jobs.end()


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
    shutil.copy(OLD[0], tmp_path / "--help.sqlite")
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
    with pytest.raises(InputError, match="not in the folder any more"):
        card_arguments(folder, session, CardAsked(pictures="gone"))
