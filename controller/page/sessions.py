"""The view "Sessions": what is in the folder, the newest first."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute

from controller.errors import InputError
from controller.page import session_view
from controller.page.grouped import groups_of
from controller.page.listed import SessionList
from controller.page.made_folders import files_of, made_folder, made_folders
from controller.page.page import Page
from controller.page.routing import see


def routes(page: Page) -> list[BaseRoute]:
    """The view's routes, and those of a session's own page."""
    sessions = SessionList(page.folder)

    def show_all(page: Page, request: Request) -> Response:
        return show(page, request, sessions)

    return [
        see(page, "/sessions", show_all),
        see(page, "/folders/{name}", show_folder),
        *session_view.routes(page, sessions),
    ]


def show(page: Page, request: Request, sessions: SessionList) -> Response:
    """The list, and the folders that the program wrote."""
    listed = sessions.look()
    return page.show(
        request,
        "sessions.html",
        "sessions",
        groups=groups_of(listed),
        unread=sum(each.counts is None for each in listed),
        folders=made_folders(page.folder),
    )


def show_folder(page: Page, request: Request) -> Response:
    """What is in a folder that the program wrote."""
    found = page.folder.find(request.path_params["name"])
    made = made_folder(page.folder, found) if found is not None and found.path.is_dir() else None
    if found is None or made is None:
        raise InputError("There is no such folder of a report or a rehearsal here. Load the list of sessions again.")
    return page.show(request, "folder.html", "sessions", made=made, files=files_of(page.folder, found))
