"""The page as an application: the routes of all views behind the guard."""

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute

from controller.page import assets, kit_view, now, pairing, plan_view, sessions, set_up
from controller.page.guard import Guard
from controller.page.page import Page
from controller.page.routing import sentence

MODULES = (pairing, assets, now, plan_view, set_up, kit_view, sessions)
"""Each has `routes(page)`."""


def app_of(page: Page) -> Starlette:
    """The application of a page."""
    found: list[BaseRoute] = [route for module in MODULES for route in module.routes(page)]
    app = Starlette(
        routes=found, middleware=[Middleware(Guard, page=page)], exception_handlers={404: _missing, 405: _missing}
    )
    app.router.redirect_slashes = False  # one address for each thing
    return app


async def _missing(_: Request, __: Exception) -> Response:
    return sentence("This does not exist.", 404)
