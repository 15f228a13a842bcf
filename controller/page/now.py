"""The view "Now"."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute

from controller.page.page import Page
from controller.page.routing import see


def routes(page: Page) -> list[BaseRoute]:
    """The view's routes."""
    return [see(page, "/", show)]


def show(page: Page, request: Request) -> Response:
    """The view itself."""
    return page.show(request, "now.html", "now", sessions=[each.name for each in page.folder.session_files()])
