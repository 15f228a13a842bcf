"""The view "Now": what a run does, and requests to it. The page speaks to the run through its session."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import aclosing
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute

from controller.capture.operator import request_of
from controller.commands.tell import tell_request
from controller.errors import InputError, WorldError
from controller.guide.meanings import meanings_of
from controller.own_names import SESSION
from controller.page.asked import AskedOnPage
from controller.page.page import Page
from controller.page.routing import body_of, control, see, sentence, stream
from controller.page.run_read import RunRead, is_capture
from controller.page.served import ServedEntry, newest_first
from controller.page.sphere_map import sphere_map
from controller.page.starting import RunAsked, StartAsked, choices, resume_arguments, start_arguments
from controller.page.streams import PageEvent
from controller.page.watches import Watches
from controller.page.work import run_command
from controller.planning.plan_file import plan_from
from controller.session.session import Session
from controller.showing.shown_run import is_active

READ_AGAIN_S = 2.0  # after a session could not be read
MOST_MEANINGS = 2  # of a warning that has several sentences
NO_MEANING = "The guide has no explanation of these words."
LOOKED_AT = 20  # of the newest sessions, when the one under way is looked for


class Told(AskedOnPage):
    """A request to the run; an answer names the number of its question."""

    words: Annotated[str, Field(max_length=4000)]
    question: int | None = None


def routes(page: Page) -> list[BaseRoute]:
    """The view's routes."""
    watches = Watches(RunRead)

    def events(page: Page, request: Request) -> Response:
        return stream(page, request, _states(page, watches, request.path_params["session"]))

    return [
        see(page, "/", show),
        see(page, "/begin", show_begin),
        see(page, "/meaning", show_meaning),
        see(page, "/run/{session}/map", show_map),
        see(page, "/run/{session}/events", events),
        control(page, "/run/{session}/tell", tell),
        control(page, "/run/{session}/resume", resume),
        control(page, "/run", begin),
        control(page, "/boards", boards),
    ]


def show(page: Page, request: Request) -> Response:
    """The view itself: of the session that is named, or the one under way, or the newest."""
    name = request.query_params.get("session")
    found = _named(page, name) if name else _current(page)
    if found is None:
        return show_begin(page, request)
    return page.show(request, "now.html", "now", session=found.name)


def show_begin(page: Page, request: Request) -> Response:
    """The form that begins a run."""
    return page.show(
        request,
        "begin.html",
        "now",
        script="begin",
        **choices(page.folder, request.query_params.get("plan", ""), page.head_port),
    )


def show_meaning(_: Page, request: Request) -> Response:
    """What a sentence of the run means, and what to do."""
    found = meanings_of(request.query_params.get("words", ""))[:MOST_MEANINGS]
    texts = [" ".join(filter(None, (meaning.means, meaning.do))) for meaning in found]
    return sentence(" ".join(dict.fromkeys(texts)) or NO_MEANING)


def show_map(page: Page, request: Request) -> Response:
    """The shapes of the plan's frames."""
    found = _session(page, request)
    with Session.open(found.path) as session:
        text = session.plan_text()
    return JSONResponse(_map_of(text, found.path))


@lru_cache(maxsize=4)
def _map_of(plan_text: str, path: Path) -> dict[str, object]:
    return sphere_map(plan_from(plan_text, str(path), begun=True)).as_json()


async def _states(page: Page, watches: Watches, name: str) -> AsyncIterator[PageEvent]:
    """What is shown of the run; or why it cannot be read, until it can be."""
    while True:
        try:
            found = await run_in_threadpool(_named, page, name)
            async for event in _changes(watches, found):
                yield event
        except (InputError, WorldError) as error:
            yield PageEvent("unread", {"sentence": page.folder.by_names(str(error))})
        await asyncio.sleep(READ_AGAIN_S)


async def _changes(watches: Watches, found: ServedEntry) -> AsyncIterator[PageEvent]:
    """The parts of what is shown, each only when it has changed: a phone's network may be slow."""
    before: dict[str, Any] = {}
    async with aclosing(watches.states(found.path)) as states:
        async for state in states:
            run = dict(state)
            parts = {"frames": run.pop("frames"), "said": run.pop("sentences"), "run": run}
            for part, value in parts.items():
                if value != before.get(part):
                    yield PageEvent(part, value)
            before = parts


async def tell(page: Page, request: Request) -> Response:
    """Leave a request or an answer for the run, and say what becomes of it."""
    asked = await body_of(request, Told)
    path = _session(page, request).path
    return sentence(page.folder.by_names(await run_in_threadpool(_told, path, asked)))


def _told(path: Path, asked: Told) -> str:
    words = asked.words.split()
    if not words:
        raise InputError("The page sent an empty request. Load it again.")
    return tell_request(path, replace(request_of(words), question=asked.question))


async def resume(page: Page, request: Request) -> Response:
    """Shoot what is missing from a session, in a run of its own."""
    asked = await body_of(request, RunAsked)
    return await _begun(page, resume_arguments(_session(page, request), asked))


async def begin(page: Page, request: Request) -> Response:
    """Begin a run of a plan, as a process of its own."""
    asked = await body_of(request, StartAsked)
    return await _begun(page, start_arguments(page.folder, asked))


async def _begun(page: Page, arguments: list[str]) -> Response:
    """Start a run; it goes on by itself. The answer names its session."""
    result = await run_command(arguments, page.folder.root)
    if result.status != 0 or not isinstance(result.value, dict):
        return sentence(result.sentence or "The run did not begin. Look at the terminal of the page.", 409)
    return JSONResponse({"sentence": "The run is under way.", "session": Path(result.value["session"]).name})


async def boards(page: Page, _: Request) -> Response:
    """Look at every port of this computer for a board, for a few seconds each."""
    result = await run_command(["board", "find", "--json"], page.folder.root)
    found = [each["name"] for each in result.value or [] if each["board"] is not None]
    if not found:
        return JSONResponse({"sentence": "No board answers. Look at the cable and at the board's supply.", "ports": []})
    return JSONResponse({"sentence": f"Found: {', '.join(found)}.", "ports": found})


def _session(page: Page, request: Request) -> ServedEntry:
    """The session that the path names. Raises InputError."""
    return _named(page, request.path_params["session"])


def _named(page: Page, name: str) -> ServedEntry:
    """The session of this name. Raises InputError."""
    return page.folder.must_find(name, "session", SESSION)


def _current(page: Page) -> ServedEntry | None:
    """The session of a run under way; without one the newest, if it is a capture."""
    newest = newest_first(page.folder.session_files())[:LOOKED_AT]
    active = (each for each in newest if is_active(each.path))
    return next(active, next((each for each in newest if is_capture(each.path)), None))
