"""The view Now: which session it shows, what it draws, and what it passes on to a run."""

import asyncio
import shutil
from pathlib import Path
from urllib.parse import quote

import pytest

from controller.lock import lock_of, sole_use
from controller.page import now, watches
from controller.page.now import _changes, _states
from controller.page.run_read import RunRead
from controller.page.served import ServedEntry
from controller.page.watches import Watches
from controller.session.rows import CAPTURE
from controller.session.session import Session
from tests.controller.page.sessions_made import browser_of, page_of, shoot, small_plan, words_of


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return shoot(tmp_path_factory.mktemp("made") / "2026-06-21-ledge-1.sqlite", stop_after=2)


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    for number in (1, 2):
        shutil.copy(made, tmp_path / f"2026-06-21-ledge-{number}.sqlite")
    return tmp_path


def test_without_a_session_it_offers_to_begin(tmp_path: Path) -> None:
    with browser_of(page_of(tmp_path)) as browser:
        assert "There is no plan in this folder yet." in words_of(browser.get("/").text)


def test_it_shows_the_session_under_way_before_newer_ones(folder: Path) -> None:
    active = folder / "2026-06-21-ledge-1.sqlite"
    (folder / "2026-06-21-ledge-2.sqlite").touch()
    with browser_of(page_of(folder)) as browser:
        assert 'data-session="2026-06-21-ledge-2.sqlite"' in browser.get("/").text
        with sole_use(lock_of(active), str(active), "a test"):
            assert 'data-session="2026-06-21-ledge-1.sqlite"' in browser.get("/").text
        assert 'data-session="2026-06-21-ledge-1.sqlite"' in browser.get("/?session=2026-06-21-ledge-1.sqlite").text


def test_the_map_has_the_frames_of_the_plan(folder: Path) -> None:
    with browser_of(page_of(folder)) as browser:
        found = browser.get("/run/2026-06-21-ledge-1.sqlite/map").json()
    assert [shape["id"] for shape in found["frames"]] == [frame.id for frame in small_plan().frames]


def test_each_part_is_sent_only_when_it_changes(folder: Path) -> None:
    path = folder / "2026-06-21-ledge-1.sqlite"

    async def story() -> list[str]:
        states = _changes(Watches(RunRead), ServedEntry(path.name, path))
        names = [(await anext(states)).name for _ in range(3)]
        with Session.open(path, to_write=True) as session:
            session.doubt_frames([0])
        names += [(await anext(states)).name for _ in range(2)]
        await states.aclose()  # type: ignore[attr-defined]
        return names

    assert asyncio.run(story()) == ["frames", "said", "run", "frames", "run"]


@pytest.mark.parametrize("name", ["..%2F..%2Fetc%2Fpasswd", "gone.sqlite", "%3Cscript%3E.sqlite", ".fullturn-page.json"])
def test_only_sessions_of_the_folder_are_spoken_to(folder: Path, name: str) -> None:
    with browser_of(page_of(folder)) as browser:
        assert browser.post(f"/run/{name}/tell", {"words": "stop"}).status_code in {400, 404}
        assert browser.get(f"/run/{name}/map").status_code in {400, 404}


def test_a_retake_is_left_for_the_next_run(folder: Path) -> None:
    with browser_of(page_of(folder)) as browser:
        told = browser.post("/run/2026-06-21-ledge-1.sqlite/tell", {"words": "retake 0"})
        wrong = browser.post("/run/2026-06-21-ledge-1.sqlite/tell", {"words": "retake 99"})
        nothing = browser.post("/run/2026-06-21-ledge-1.sqlite/tell", {"words": " "})
        unknown = browser.post("/run/2026-06-21-ledge-1.sqlite/tell", {"words": "explode"})
    assert told.status_code == 200
    assert "reshoots frame 0" in told.json()["sentence"]
    assert [answer.status_code for answer in (wrong, nothing, unknown)] == [400, 400, 400]
    with Session.open(folder / "2026-06-21-ledge-1.sqlite") as session:
        assert session.doubts()


def test_an_answer_counts_only_for_the_question_that_it_names(tmp_path: Path) -> None:
    path = tmp_path / "asked.sqlite"
    plan = small_plan()
    about = {"kind": CAPTURE, "plan": plan.model_dump_json(), "plan_hash": plan.hash}
    with Session.create(path, about, durable=True) as session:
        old = session.ask("Is the way clear?")
        new = session.ask("Is the camera back?")
        with sole_use(lock_of(path), str(path), "a test"), browser_of(page_of(tmp_path)) as browser:
            late = browser.post("/run/asked.sqlite/tell", {"words": "yes", "question": old})
            assert late.status_code == 409
            assert "asks another one" in late.json()["sentence"]
            assert session.take_request() is None
        assert new != old


def test_who_looks_on_can_do_nothing(folder: Path) -> None:
    with browser_of(page_of(folder), controls=False) as browser:
        for path, value in (
            ("/run/2026-06-21-ledge-1.sqlite/tell", {"words": "stop"}),
            ("/run/2026-06-21-ledge-1.sqlite/resume", {}),
            ("/run", {"plan": "plan.json", "port": "port"}),
            ("/boards", {}),
        ):
            assert browser.post(path, value).status_code == 403


def test_a_session_that_cannot_be_read_is_said_and_read_again_later(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever becomes of the file while a window is open: removed, replaced, damaged, or back again."""
    path, other = folder / "2026-06-21-ledge-1.sqlite", folder / "2026-06-21-ledge-2.sqlite"
    monkeypatch.setattr(now, "READ_AGAIN_S", 0.01)
    monkeypatch.setattr(watches, "SEES_PROCESS_S", 0.05)
    page = page_of(folder)

    async def story() -> list[str]:
        states, told = _states(page, Watches(RunRead), path.name), []

        async def until(name: str) -> None:
            while (event := await asyncio.wait_for(anext(states), 10)).name != name:
                pass
            told.append(str(event.value["sentence"]) if name == "unread" else "")  # type: ignore[index]

        await until("run")
        path.unlink()
        await until("unread")
        shutil.copy(other, path)
        await until("run")
        shutil.copy(other, folder / "beside")
        (folder / "beside").replace(path)
        await until("unread")
        await until("run")
        path.unlink()
        path.write_bytes(b"no session")
        await until("unread")
        await until("unread")
        await states.aclose()  # type: ignore[attr-defined]
        return told

    told = [each for each in asyncio.run(story()) if each]
    assert "removed or replaced" in told[0]
    assert "removed or replaced" in told[1]
    assert "is not a session of this program" in told[-1]
    assert not [each for each in told if str(folder) in each]


@pytest.mark.parametrize("path", ["/?session={}", "/sessions/{}", "/folders/{}"])
@pytest.mark.parametrize("name", ["gone.sqlite", "kit.toml", "%3Cb%3E"])
def test_an_address_of_nothing_is_answered_with_a_page_for_people(folder: Path, path: str, name: str) -> None:
    (folder / "kit.toml").write_text("")
    with browser_of(page_of(folder)) as browser:
        answer = browser.get(path.format(name), accept="text/html,*/*")
        assert answer.status_code == 400
        assert "Sessions" in words_of(answer.text)
        assert "There is no such" in words_of(answer.text)
        assert set(browser.get(path.format(name)).json()) == {"sentence"}


def test_the_form_is_offered_whatever_is_among_the_sessions(folder: Path) -> None:
    (folder / "damaged.sqlite").write_bytes((folder / "2026-06-21-ledge-1.sqlite").read_bytes()[:5000] + b"x" * 5000)
    (folder / "lost.sqlite").symlink_to(folder / "nowhere.sqlite")
    (folder / "plan.json").write_text(small_plan().model_dump_json())
    with browser_of(page_of(folder)) as browser:
        assert "ledge-port" in browser.get("/begin").text


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("The board does not answer: not a byte comes; check the cable and the board's supply, then go on.", "cable"),
        ("", "no explanation"),
        ("qqq " * 5000, "no explanation"),
    ],
)
def test_a_warning_is_explained_with_what_to_do(folder: Path, words: str, told: str) -> None:
    with browser_of(page_of(folder)) as browser:
        answer = browser.get(f"/meaning?words={quote(words[:400])}")
        assert answer.status_code == 200
        assert told in answer.json()["sentence"]
