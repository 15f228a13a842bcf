"""What a route needs of the device that asks: `see` any paired device, `control` the one that holds the controls.

The guard refuses every device that is not paired, before any route is looked for. A view's endpoint is a function of the
page and the request. One that is not `async` runs in a thread of its own: let those read files.
"""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import TypeVar

from pydantic import BaseModel, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from controller.errors import InputError, WorldError
from controller.page.access import LOOK_ON
from controller.page.devices import Device
from controller.page.page import Page, device_of
from controller.page.streams import PageEvent
from controller.reading import FileKind, parse_json

Endpoint = Callable[[Page, Request], Response | Awaitable[Response]]
Asked = TypeVar("Asked", bound=BaseModel)
MOST_BODY_BYTES = 64 * 1024
REQUEST = FileKind("a request of the page", MOST_BODY_BYTES, "Load the page again.")
MOST_NAMES = 60  # characters of a key in a sentence


def see(page: Page, path: str, endpoint: Endpoint) -> Route:
    """A route (GET) that any paired device may use."""
    return _route(page, path, endpoint, "GET", None)


def say(page: Page, path: str, endpoint: Endpoint) -> Route:
    """A route (POST) that any paired device may use: it changes nothing but what concerns that device."""
    return _route(page, path, endpoint, "POST", None)


def control(page: Page, path: str, endpoint: Endpoint) -> Route:
    """A route (POST) only for the device that holds the controls."""
    return _route(page, path, endpoint, "POST", lambda device: why_not(page, device))


def why_not(page: Page, device: Device) -> str:
    """Why a device may not do anything now, as a sentence; empty if it may."""
    if not device.may_control:
        return LOOK_ON
    if not page.access.holds(device):
        return f"{page.access.controls_words(device)} Take the controls over first."
    return ""


def _route(page: Page, path: str, endpoint: Endpoint, method: str, refuse: Callable[[Device], str] | None) -> Route:
    async def answer(request: Request) -> Response:
        if refuse is not None and (why := refuse(device_of(request))):
            return sentence(why, 403)
        try:
            if asyncio.iscoroutinefunction(endpoint):
                response: Response = await endpoint(page, request)
                return response
            return await run_in_threadpool(endpoint, page, request)  # type: ignore[arg-type]
        except InputError as error:
            return _refused(page, request, " ".join(error.sentences), 400)
        except WorldError as error:
            return _refused(page, request, str(error), 409)

    return Route(path, answer, methods=[method])


def _refused(page: Page, request: Request, words: str, status: int) -> Response:
    """Why something was refused: as a page if a person opened an address, as JSON for a script."""
    words = page.folder.by_names(words)
    if request.method == "GET" and "text/html" in request.headers.get("accept", ""):
        view = page.show(request, "refused.html", "", script="refused", words=words)
        view.status_code = status
        return view
    return sentence(words, status)


def sentence(text: str, status: int = 200) -> JSONResponse:
    """An answer that is one sentence for people."""
    return JSONResponse({"sentence": text}, status)


async def body_of(request: Request, model: type[Asked]) -> Asked:
    """The body of a request, JSON that fits a model. Raises InputError."""
    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        raise InputError("The page sent something that is not JSON. Load it again.")
    try:
        text = (await request.body()).decode()
    except UnicodeDecodeError:
        raise InputError("The page sent something that is not text in UTF-8. Load it again.") from None
    parse_json(text, "The request", REQUEST)
    try:
        return model.model_validate_json(text)
    except ValidationError as error:
        where = ".".join(str(part) for part in error.errors()[0]["loc"])[:MOST_NAMES] or "the request"
        raise InputError(
            f"The page sent a value that cannot be used: {where}. Correct it, or load the page again."
        ) from None


def stream(page: Page, request: Request, *sources: AsyncIterator[PageEvent]) -> Response:
    """The one stream of a page: the events of its view, and `controls` whenever they change hands."""
    device = device_of(request)
    if request.method == "HEAD":
        return Response(media_type="text/event-stream")
    return page.streams.response(device.number, [*sources, _controls(page, device.number)])


async def _controls(page: Page, number: int) -> AsyncIterator[PageEvent]:
    while (device := page.access.devices.numbered(number)) is not None:
        holds = page.access.holds(device)
        yield PageEvent("controls", {"sentence": page.access.controls_words(device), "holds": holds})
        await page.access.wait_change()
    yield PageEvent("gone", {})
