"""The view "Set up"."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute

from controller.page.page import Page
from controller.page.routing import see


def routes(page: Page) -> list[BaseRoute]:
    """The view's routes."""
    return [see(page, "/set-up", show)]


def show(page: Page, request: Request) -> Response:
    """The view itself."""
    return page.show(request, "set-up.html", "set-up", kits=[each.name for each in page.folder.kit_files()])
