"""Everything that must stay out is refused here, before any view is asked.

Without a paired device's cookie nothing is answered but the pairing page and what it needs; what is refused is the same
whether it exists or not.
"""

from http.cookies import CookieError, SimpleCookie
from ipaddress import ip_address

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from controller.page.hosts import in_link
from controller.page.page import Page
from controller.page.routing import MOST_BODY_BYTES

METHODS = {"GET", "HEAD", "POST"}
MOST_PATH = 2000  # bytes, with the query
OPEN = {"/pair", "/favicon.ico"} | {
    f"/static/{name}" for name in ("tokens.css", "page.css", "pair.js", "looks.js", "icon.svg")
}
"""What is answered to anybody. It tells nothing about the folder."""

HEADERS = {
    "Content-Security-Policy": "default-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'; "
    "object-src 'none'",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "no-store",
}
"""On every answer, unless it has its own (Content Security Policy level 3; Fetch standard)."""

Refused = tuple[str, Response]


class _TooMuch(Exception):
    """A body is larger than the page reads."""


class Guard:
    """Wraps the application."""

    def __init__(self, app: ASGIApp, page: Page) -> None:
        self._app, self._page = app, page

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        sender = _WithHeaders(send)
        response = self._refused(scope)
        if response is None and scope["method"] == "POST":
            try:
                receive = _Replayed(await _whole_body(receive), receive)
            except _TooMuch:
                response = self._noted(scope, TOO_LARGE, _no("This is larger than the page reads.", 413))
        if response is not None:
            await response(scope, receive, sender)
            return
        try:
            await self._app(scope, receive, sender)
        except Exception:
            if not sender.begun:
                await _no("The page has a fault; its terminal shows which. A run goes on.", 500)(scope, receive, sender)
            raise

    def _noted(self, scope: Scope, why: str, response: Response) -> Response:
        client = scope.get("client")
        self._page.refusals.note(why, client[0] if client else "", scope["path"])
        return response

    def _refused(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        for refuses in (_wrong_method, _wrong_size, self._wrong_host, _wrong_origin):
            found = refuses(scope, headers)
            if found is not None:
                return self._noted(scope, *found)
        return self._not_paired(scope, headers)

    def _wrong_host(self, scope: Scope, headers: Headers) -> Refused | None:
        given = [each.lower() for each in headers.getlist("host")]
        if len(given) == 1 and (given[0] in self._page.hosts or given[0] == _own_address(scope)):
            return None
        return "its Host is not this page's", _no("This address is not the page's.", 421)

    def _not_paired(self, scope: Scope, headers: Headers) -> Response | None:
        token = token_in(headers, self._page.cookie)
        device = self._page.access.device_of(token) if token else None
        scope.setdefault("state", {})["device"] = device
        if device is not None or scope["path"] in OPEN:
            return None
        why = "its device is not paired any more" if token else "its device is not paired"
        if scope["method"] != "POST" and "text/html" in headers.get("accept", ""):
            response: Response = RedirectResponse("/pair", 303)
            return self._noted(scope, why, response) if token else response
        return self._noted(scope, why, _no("Pair this device first.", 401))


TOO_LARGE = "its body is larger than 64 KB"


def _wrong_method(scope: Scope, _: Headers) -> Refused | None:
    if scope["method"] in METHODS:
        return None
    return "its method is not used here", _no("This method is not used here.", 405, Allow="GET, HEAD, POST")


def _wrong_size(scope: Scope, headers: Headers) -> Refused | None:
    if len(scope["raw_path"]) + len(scope["query_string"]) > MOST_PATH:
        return "its address is too long", _no("The address is too long.", 414)
    length = headers.get("content-length", "0")
    if scope["method"] != "POST" and (length != "0" or "transfer-encoding" in headers):
        return "it has a body that is not asked for", _no("This request has a body that is not asked for.", 400)
    if not (length.isascii() and length.isdigit()) or int(length[:12]) > MOST_BODY_BYTES:
        return TOO_LARGE, _no("This is larger than the page reads.", 413)
    return None


def _wrong_origin(scope: Scope, headers: Headers) -> Refused | None:
    """Whatever changes something must come from the page itself (Fetch standard: Origin; Fetch Metadata)."""
    if scope["method"] != "POST":
        return None
    ours = f"{scope['scheme']}://{headers['host'].lower()}"
    if headers.getlist("origin") == [ours] and headers.get("sec-fetch-site", "same-origin") == "same-origin":
        return None
    return "it comes from another site", _no("This request comes from another site.", 403)


def _own_address(scope: Scope) -> str:
    """The address that was really connected to, as in a link: a lured browser would send a name instead.

    So the page answers under an address that the computer got after the start, from a hotspot for instance.
    """
    host, port = scope.get("server") or ("", None)
    try:
        return f"{in_link(str(ip_address(host)))}:{port}"
    except ValueError:
        return ""


def token_in(headers: Headers, name: str) -> str:
    """The device's token in the cookies of a request; empty if there is none."""
    try:
        found = SimpleCookie(headers.get("cookie", "")[:4096]).get(name)
    except CookieError:
        return ""
    return found.value if found is not None else ""


def _no(text: str, status: int, **headers: str) -> Response:
    """A refusal. The connection is closed after it: nobody reads what else was sent."""
    return JSONResponse({"sentence": text}, status, {**headers, "Connection": "close"})


async def _whole_body(receive: Receive) -> bytes:
    """The body of a request, read no further than its limit. Raises _TooMuch."""
    body, more = b"", True
    while more:
        message = await receive()
        body += message.get("body", b"")
        more = message.get("more_body", False)
        if len(body) > MOST_BODY_BYTES:
            raise _TooMuch
    return body


class _Replayed:
    """Gives a body that was read already, and then what comes after it."""

    def __init__(self, body: bytes, receive: Receive) -> None:
        self._body: bytes | None = body
        self._receive = receive

    async def __call__(self) -> Message:
        if self._body is None:
            return await self._receive()
        body, self._body = self._body, None
        return {"type": "http.request", "body": body, "more_body": False}


class _WithHeaders:
    """Adds the headers that every answer has."""

    def __init__(self, send: Send) -> None:
        self._send, self.begun = send, False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.begun = True
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await self._send(message)
