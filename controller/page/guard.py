"""Everything that must stay out is refused here, before any view is asked.

Without a paired device's cookie nothing is answered but the pairing page and what it needs; what is refused is the same
whether it exists or not.
"""

from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from controller.page.page import Page
from controller.page.routing import MOST_BODY_BYTES

METHODS = {"GET", "HEAD", "POST"}
MOST_PATH = 2000  # bytes, with the query
OPEN = {"/pair", "/static/tokens.css", "/static/page.css", "/static/pair.js", "/static/look.js"}
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
"""On every answer, unless it has its own (OWASP Secure Headers; CSP level 3)."""


class TooLarge(Exception):
    """A body is larger than the page reads."""


class Guard:
    """Wraps the application."""

    def __init__(self, app: ASGIApp, page: Page) -> None:
        self._app, self._page = app, page

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        sender = _WithHeaders(send)
        refused = self._refused(scope)
        if refused is not None:
            await refused(scope, receive, sender)
            return
        reader = _Limited(receive)
        try:
            await self._app(scope, reader, sender)
        except TooLarge:
            self._note("its body is larger than 64 KB", scope)
            if not sender.begun:
                await _too_large()(scope, receive, sender)
        except Exception:
            if not sender.begun:
                await _no("The page has a fault; its terminal shows which. A run goes on.", 500)(scope, receive, sender)
            raise

    def _note(self, why: str, scope: Scope) -> None:
        client = scope.get("client")
        self._page.refusals.note(why, client[0] if client else "", scope["path"])

    def _refused(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        for refuses in (self._wrong_method, self._wrong_length, self._wrong_host, self._wrong_origin):
            found = refuses(scope, headers)
            if found is not None:
                why, response = found
                self._note(why, scope)
                return response
        return self._not_paired(scope, headers)

    def _wrong_method(self, scope: Scope, _: Headers) -> tuple[str, Response] | None:
        if scope["method"] in METHODS:
            return None
        return "its method is not used here", _no("This method is not used here.", 405, Allow="GET, HEAD, POST")

    def _wrong_length(self, scope: Scope, headers: Headers) -> tuple[str, Response] | None:
        if len(scope["raw_path"]) + len(scope["query_string"]) > MOST_PATH:
            return "its address is too long", _no("The address is too long.", 414)
        length = headers.get("content-length", "0")
        if not (length.isascii() and length.isdigit()) or int(length[:12]) > MOST_BODY_BYTES:
            return "its body is larger than 64 KB", _too_large()
        return None

    def _wrong_host(self, _: Scope, headers: Headers) -> tuple[str, Response] | None:
        hosts = headers.getlist("host")
        if len(hosts) == 1 and hosts[0].lower() in self._page.hosts:
            return None
        return "its Host is not this page's", _no("This address is not the page's.", 421)

    def _wrong_origin(self, scope: Scope, headers: Headers) -> tuple[str, Response] | None:
        if scope["method"] != "POST":
            return None
        ours = f"{scope['scheme']}://{headers['host'].lower()}"
        same_site = headers.get("sec-fetch-site", "same-origin") == "same-origin"
        if headers.getlist("origin") == [ours] and same_site:
            return None
        return "it comes from another site", _no("This request comes from another site.", 403)

    def _not_paired(self, scope: Scope, headers: Headers) -> Response | None:
        token = token_in(headers, self._page.cookie)
        device = self._page.access.device_of(token) if token else None
        scope.setdefault("state", {})["device"] = device
        if device is not None or scope["path"] in OPEN:
            return None
        if token:
            self._note("its device is not paired any more", scope)
        if scope["method"] == "POST" or "text/html" not in headers.get("accept", ""):
            return _no("Pair this device first.", 401)
        return RedirectResponse("/pair", 303)


def token_in(headers: Headers, name: str) -> str:
    """The device's token in the cookies of a request; empty if there is none."""
    try:
        found = SimpleCookie(headers.get("cookie", "")[:4096]).get(name)
    except CookieError:
        return ""
    return found.value if found is not None else ""


def _no(text: str, status: int, **headers: str) -> Response:
    return JSONResponse({"sentence": text}, status, headers)


def _too_large() -> Response:
    return _no("This is larger than the page reads.", 413, Connection="close")


class _Limited:
    """Reads a body no further than its limit."""

    def __init__(self, receive: Receive) -> None:
        self._receive, self._bytes = receive, 0

    async def __call__(self) -> Message:
        message = await self._receive()
        self._bytes += len(message.get("body", b""))
        if self._bytes > MOST_BODY_BYTES:
            raise TooLarge
        return message


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
