"""Pairing a device: the one page that everybody may see, and what it posts."""

from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import BaseRoute, Route

from controller.errors import InputError, StorageFailed
from controller.page.access import NotNow
from controller.page.page import Page, device_of, templates
from controller.page.routing import body_of, say, see, sentence, stream

COOKIE_S = 30 * 24 * 3600
WRONG = "This is not the key that the page's terminal shows. A key is good once; look there for the new one."


class TypedKey(BaseModel):
    """What the pairing page posts."""

    model_config = ConfigDict(extra="forbid")
    key: str = Field(max_length=100)


class GivenName(BaseModel):
    """What a device wants to be called."""

    model_config = ConfigDict(extra="forbid")
    name: str = Field(max_length=100)


def routes(page: Page) -> list[BaseRoute]:
    """Pairing, which is open to all; the controls and the names of devices."""

    async def show(_: Request) -> Response:
        return HTMLResponse(templates().get_template("pair.html").render())

    async def pair(request: Request) -> Response:
        return await paired(page, request)

    return [
        Route("/pair", show, methods=["GET"]),
        Route("/pair", pair, methods=["POST"]),
        see(page, "/controls", controls),
        say(page, "/controls/take", take),
        say(page, "/device/name", call_device),
        see(page, "/events", events),
    ]


async def paired(page: Page, request: Request) -> Response:
    """The answer to a key: a cookie for the device (RFC 6265bis), or why not."""
    client = request.client.host if request.client else ""
    try:
        typed = await body_of(request, TypedKey)
        agent = request.headers.get("user-agent", "")[:500]
        token = page.access.pair(typed.key, agent, again=request.state.device)
    except InputError as error:
        return sentence(" ".join(error.sentences), 400)
    except NotNow as error:
        page.refusals.note("a key too soon after wrong ones", client)
        response = sentence(str(error), 429)
        response.headers["Retry-After"] = f"{error.wait_s:.0f}"
        return response
    except StorageFailed as error:
        return sentence(str(error), 507)
    if token is None:
        page.refusals.note("a wrong key", client)
        return sentence(WRONG, 403)
    response = JSONResponse({"go": "/"})
    secure = request.url.scheme == "https"
    response.set_cookie(page.cookie, token, max_age=COOKIE_S, path="/", httponly=True, samesite="strict", secure=secure)
    return response


async def controls(page: Page, request: Request) -> Response:
    """Who holds the controls; also tells a page whether its device is still paired."""
    device = device_of(request)
    return JSONResponse({"sentence": page.access.controls_words(device), "holds": page.access.holds(device)})


async def take(page: Page, request: Request) -> Response:
    """Take the controls over."""
    device = device_of(request)
    page.access.take(device)
    return sentence(page.access.controls_words(device))


async def call_device(page: Page, request: Request) -> Response:
    """Give the device that asks another name."""
    page.access.call_device(device_of(request), (await body_of(request, GivenName)).name)
    return sentence("Renamed.")


async def events(page: Page, request: Request) -> Response:
    """The stream of a page whose view has no news of its own."""
    return stream(page, request)
