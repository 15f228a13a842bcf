"""A session's own page: its account, what can be made of it, and what was."""

from collections.abc import Callable
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute

from controller.errors import InputError
from controller.own_names import SESSION
from controller.page.account import Accounts
from controller.page.card_asked import (
    CardAsked,
    PicturesAsked,
    card_arguments,
    inspect_arguments,
    picture_folders,
    report_arguments,
)
from controller.page.grouped import place_words
from controller.page.listed import SessionList, date_words
from controller.page.made_folders import made_folders, made_of
from controller.page.page import Page
from controller.page.routing import body_of, control, see
from controller.page.served import ServedEntry


def routes(page: Page, sessions: SessionList) -> list[BaseRoute]:
    """The routes of one session."""
    accounts = Accounts()

    def show_one(page: Page, request: Request) -> Response:
        return show(page, request, sessions)

    def account(page: Page, request: Request) -> Response:
        return JSONResponse(accounts.of(session_of(page, request).path).as_json())

    return [
        see(page, "/sessions/{session}", show_one),
        see(page, "/sessions/{session}/account", account),
        control(page, "/sessions/{session}/report", write_report),
        control(page, "/sessions/{session}/match", sort_card),
        control(page, "/sessions/{session}/inspect", inspect_pictures),
    ]


def session_of(page: Page, request: Request) -> ServedEntry:
    """The session that the path names. Raises InputError."""
    found = page.folder.find(request.path_params["session"])
    if found is None or found.path.suffix != SESSION:
        raise InputError("There is no such session in this folder. Load the list of sessions again.")
    return found


def show(page: Page, request: Request, sessions: SessionList) -> Response:
    """The page of one session."""
    listed = sessions.one(session_of(page, request))
    made = made_of(listed.stem, made_folders(page.folder))
    return page.show(
        request,
        "session.html",
        "sessions",
        script="session",
        session=listed,
        where=place_words(listed.place),
        day=date_words(listed.day),
        made=[(each, each.written_ns < listed.written_ns) for each in made],
        pictures=picture_folders(page.folder),
    )


async def write_report(page: Page, request: Request) -> Response:
    """Write a report of the session, as work beside the page."""
    found = session_of(page, request)
    return await _begun(page, "Write the report", found, lambda: report_arguments(page.folder, found))


async def sort_card(page: Page, request: Request) -> Response:
    """Pair a folder of pictures with the session, as work beside the page."""
    found, asked = session_of(page, request), await body_of(request, CardAsked)
    return await _begun(page, "Sort the card", found, lambda: card_arguments(page.folder, found, asked))


async def inspect_pictures(page: Page, request: Request) -> Response:
    """Inspect a folder of pictures together, as work beside the page."""
    found, asked = session_of(page, request), await body_of(request, PicturesAsked)
    return await _begun(page, "Inspect the pictures", found, lambda: inspect_arguments(page.folder, found, asked))


async def _begun(
    page: Page, title: str, session: ServedEntry, arguments: Callable[[], tuple[Path, list[str]]]
) -> Response:
    """Begin work about a session. `arguments` looks into the folder, so it runs in a thread."""
    out, words = await run_in_threadpool(arguments)
    job = page.jobs.begin(f"{title} of {session.name}", out.name, words)
    return JSONResponse({"sentence": "The work has begun. It goes on if you leave this view.", "job": job.number})
