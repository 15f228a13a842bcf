"""The page's own files in `static/`, by exact name, and the files of reports."""

from pathlib import Path

from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import BaseRoute, Route

from controller import report
from controller.page.page import Page
from controller.page.routing import see, sentence
from controller.reading import FileKind, read_bytes

STATIC = Path(__file__).resolve().parent / "static"
LOOKS = Path(report.__file__).resolve().parent / "templates"
SHARED = ("tokens.css", "looks.js")
"""The looks: the same for the page and for every file that Fullturn writes as HTML."""
OWN_FILE = FileKind("a file of the page", 10**6, "Install Fullturn again.")
TYPES = {
    ".css": "text/css; charset=utf-8",
    ".csv": "text/plain; charset=utf-8",
    ".html": "text/html; charset=utf-8",
    ".jpeg": "image/jpeg",
    ".jpg": "image/jpeg",
    ".js": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".png": "image/png",
    ".svg": "image/svg+xml",
    ".txt": "text/plain; charset=utf-8",
    ".webp": "image/webp",
}
"""The types of what is served; nothing else is."""
SANDBOX = "sandbox allow-scripts allow-popups; default-src 'self' 'unsafe-inline' data:; frame-ancestors 'self'"
"""For files of the folder: their scripts run as a foreign site's, without the page's cookie and without its rights."""


def routes(page: Page) -> list[BaseRoute]:
    """The page's own files, and `/file/FOLDER/NAME` (see `Page.file_link`)."""
    return [
        Route("/static/{name}", static, methods=["GET"]),
        Route("/favicon.ico", icon, methods=["GET"]),
        see(page, "/file/{folder}/{name}", report_file),
    ]


async def static(request: Request) -> Response:
    """One of the page's own files."""
    own = {path.name: path for path in (*STATIC.iterdir(), *(LOOKS / name for name in SHARED)) if path.suffix in TYPES}
    path = own.get(request.path_params["name"])
    if path is None:
        return sentence("This does not exist.", 404)
    return Response(read_bytes(path, OWN_FILE), media_type=TYPES[path.suffix], headers={"Cache-Control": "no-cache"})


async def icon(_: Request) -> Response:
    """The icon, where browsers look for one: when a report is read, they ask without the cookie."""
    return Response(read_bytes(STATIC / "icon.svg", OWN_FILE), media_type=TYPES[".svg"])


def report_file(page: Page, request: Request) -> Response:
    """A file of a report."""
    found = page.folder.find_in(request.path_params["folder"], request.path_params["name"])
    if found is None or found.path.suffix.lower() not in TYPES:
        return sentence("This does not exist in the folder.", 404)
    headers = {"Content-Security-Policy": SANDBOX, "Cross-Origin-Opener-Policy": "unsafe-none"}
    return FileResponse(found.path, media_type=TYPES[found.path.suffix.lower()], headers=headers)
