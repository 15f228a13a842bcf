"""The view "Sessions"."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute

from controller.page.page import Page
from controller.page.routing import see


def routes(page: Page) -> list[BaseRoute]:
    """The view's routes."""
    return [see(page, "/sessions", show)]


def show(page: Page, request: Request) -> Response:
    """The view itself."""
    return page.show(request, "sessions.html", "sessions", sessions=[each.name for each in page.folder.session_files()])
