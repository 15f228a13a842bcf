"""A session's own page: its account, what can be made of it, and what was."""

import asyncio
from collections.abc import Callable
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute

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


def routes(page: Page, sessions: SessionList, turn: asyncio.Lock) -> list[BaseRoute]:
    """The routes of one session. `turn` is held while `sessions` is used."""
    accounts, accounts_turn = Accounts(), asyncio.Lock()

    async def show_one(page: Page, request: Request) -> Response:
        async with turn:
            return await run_in_threadpool(show, page, request, sessions)

    async def account(page: Page, request: Request) -> Response:
        path = session_of(page, request).path
        async with accounts_turn:  # five devices that ask together get one proof
            found = await run_in_threadpool(accounts.of, path)
        return JSONResponse(found.as_json())

    return [
        see(page, "/sessions/{session}", show_one),
        see(page, "/sessions/{session}/account", account),
        control(page, "/sessions/{session}/report", write_report),
        control(page, "/sessions/{session}/match", sort_card),
        control(page, "/sessions/{session}/inspect", inspect_pictures),
    ]


def session_of(page: Page, request: Request) -> ServedEntry:
    """The session that the path names. Raises InputError."""
    return page.folder.must_find(request.path_params["session"], "session", SESSION)


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
        ports=list(dict.fromkeys(port for port in (listed.port, page.head_port) if port)),
        file_link=page.file_link,
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
