"""Sessions from runs on the simulated rig in virtual time, and a page over the folder that they are in."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Coroutine, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import cache
from html import unescape
from pathlib import Path
from typing import Any

import httpx

from controller.capture.events import EventKind, Wanted
from controller.capture.runner import Runner
from controller.page.app import app_of
from controller.page.page import Page
from controller.planning.make import make_plan
from controller.planning.plan import Plan
from controller.planning.request import RegionKind, Request
from controller.session.rows import CAPTURE, Moment, RunReason
from controller.session.session import Session
from tests.controller.page.pages import HOST, served_in
from tests.end_to_end.whole_runs import kit_of, world_of

BEGAN = datetime(2026, 6, 21, 12, 0, tzinfo=UTC)


@cache
def small_plan(*, contact: bool = True) -> Plan:
    """A window of a few frames; without a contact nothing confirms its exposures."""
    window = Request(RegionKind.WINDOW, -20, 20, yaw_from_deg=-60, yaw_to_deg=60)
    found = make_plan(kit_of(14.0, board={"sync_contact": contact}), 0.3, window)
    assert len(found.frames) >= 2
    return found


def shoot(path: Path, *, stop_after: int | None = None, contact: bool = True, kind: str = CAPTURE) -> Path:
    """A session of a run of that plan, stopped after so many exposures."""
    plan = small_plan(contact=contact)
    world = world_of(plan.kit, plan.frames)
    requests = [] if stop_after is None else [Wanted(EventKind.STOP)]

    def operator() -> Wanted | None:
        return requests.pop() if requests and len(world.truth) >= (stop_after or 0) else None

    about = {"kind": kind, "plan": plan.model_dump_json(), "plan_hash": plan.hash, "port": "ledge-port"}
    with Session.create(path, about, durable=False) as session:
        session.begin_run(RunReason.BEGUN, Moment(0, BEGAN.isoformat()))
        result = Runner(world.program, world.port, session, operator).run()
        session.end_run(result.sentence, complete=result.complete)
    return path


def page_of(folder: Path) -> Page:
    """The page of a folder."""
    return served_in(folder).page


class FolderBrowser:
    """A browser with a loop of its own, so that work goes on between what it asks for."""

    def __init__(self, page: Page, runner: asyncio.Runner) -> None:
        self._app, self._runner, self._cookies = app_of(page), runner, httpx.Cookies()

    def get(self, path: str, *, accept: str = "*/*") -> httpx.Response:
        return self._runner.run(self._ask("GET", path, accept=accept))

    def post(self, path: str, json: object) -> httpx.Response:
        return self._runner.run(self._ask("POST", path, json=json))

    def run(self, work: Coroutine[Any, Any, None]) -> None:
        """Do something in the page's loop."""
        self._runner.run(work)

    async def _ask(self, method: str, path: str, accept: str = "*/*", **body: object) -> httpx.Response:
        async with httpx.AsyncClient(
            transport=httpx.ASGITransport(self._app), base_url=f"http://{HOST}", cookies=self._cookies
        ) as client:
            answer = await client.request(method, path, headers={"Origin": f"http://{HOST}", "Accept": accept}, **body)  # type: ignore[arg-type]
            self._cookies.update(client.cookies)
        return answer


@contextmanager
def browser_of(page: Page, *, controls: bool = True) -> Iterator[FolderBrowser]:
    """A browser that was paired, to control or to look on. Work that it begins goes on while it is open."""
    with asyncio.Runner() as runner:
        browser = FolderBrowser(page, runner)
        keys = page.access.keys
        assert browser.post("/pair", {"key": keys.control if controls else keys.see}).status_code == 200
        yield browser


def words_of(html: str) -> str:
    """What people read of a page, on one line."""
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", html)).split())
