"""The view Now: which session it shows, what it draws, and what it passes on to a run."""

import asyncio
import shutil
from pathlib import Path

import pytest

from controller.lock import lock_of, sole_use
from controller.page.now import _states
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
        states = _states(Watches(RunRead), ServedEntry(path.name, path))
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
