"""The view "Set up": the steps of setting up, and the pad that moves the head."""

from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute

from controller.capture.jog import SIZES_DEG
from controller.own_names import KIT
from controller.page.head_desk import HeadDesk, HeadRequest
from controller.page.page import Page
from controller.page.routing import body_of, control, see, stream
from controller.page.streams import PageEvent
from controller.setup.standing import mark_steps, setup_state
from controller.setup.steps import Look, steps

AT_HEAD = {Look.STOP_SWITCH, Look.ZERO, Look.CABLES}
SPEEDS = ("Finest", "Slow", "Faster")
"""Names of the speeds of `capture.pad`."""


class _Asked(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class HeadWanted(_Asked):
    """Hold the head of a kit on a port, for the pad or to look at a step."""

    kit: str = Field(max_length=200)
    port: str = Field(min_length=1, max_length=200)
    step: str | None = Field(default=None, max_length=40)


class TalkNamed(_Asked):
    """The number of a conversation."""

    talk: int


class StepMarked(_Asked):
    """Mark a step as done on the person's word, or open it again."""

    kit: str = Field(max_length=200)
    step: str = Field(max_length=40)
    mark: Literal["done", "again"]


def routes(page: Page) -> list[BaseRoute]:
    """The view's routes. The head is held for all devices together."""
    desk = HeadDesk()

    async def events(page: Page, request: Request) -> Response:
        async def shown() -> Any:
            async for value in desk.changes():
                yield PageEvent("head", value)

        return stream(page, request, shown())

    async def open_head(page: Page, request: Request) -> Response:
        wanted = await body_of(request, HeadWanted)
        talk = await desk.begin(kit_path(page, wanted.kit), wanted.port, wanted.step)
        return JSONResponse({"talk": talk, "beat": desk.beat()})

    async def send(_: Page, request: Request) -> Response:
        return JSONResponse({"beat": desk.send(await body_of(request, HeadRequest))})

    async def here(_: Page, request: Request) -> Response:
        return JSONResponse({"beat": desk.here((await body_of(request, TalkNamed)).talk)})

    async def close(_: Page, request: Request) -> Response:
        await desk.close((await body_of(request, TalkNamed)).talk)
        return JSONResponse({})

    return [
        see(page, "/set-up", show),
        see(page, "/set-up/steps", show_steps),
        control(page, "/set-up/mark", mark),
        see(page, "/head/events", events),
        control(page, "/head/open", open_head),
        control(page, "/head/send", send),
        control(page, "/head/here", here),
        control(page, "/head/close", close),
    ]


def kit_path(page: Page, name: str) -> Path:
    """The kit's file in the served folder. Raises InputError."""
    return page.folder.must_find(name, "kit", KIT).path


def show(page: Page, request: Request) -> Response:
    """The view itself."""
    kits = [each.name for each in page.folder.kit_files()]
    sizes = [(number, f"{size:g}°" if size else "1 motor step") for number, size in enumerate(SIZES_DEG)]
    return page.show(
        request, "set-up.html", "set-up", kits=kits, port=page.head_port, speeds=list(enumerate(SPEEDS)), sizes=sizes
    )


def show_steps(page: Page, request: Request) -> Response:
    """The steps of a kit and how they stand."""
    return JSONResponse({"steps": steps_shown(kit_path(page, request.query_params.get("kit", "")))})


async def mark(page: Page, request: Request) -> Response:
    """Mark a step."""
    marked = await body_of(request, StepMarked)
    path = kit_path(page, marked.kit)
    mark_steps(path, *(([marked.step], []) if marked.mark == "done" else ([], [marked.step])))
    return JSONResponse({"steps": steps_shown(path)})


def steps_shown(kit: Path) -> list[dict[str, Any]]:
    """Each step with what to do, and how it stands. `at_head`: the program can look at it. Raises InputError."""
    return [
        {
            "name": step.name,
            "title": step.title,
            "how": step.how,
            "at_head": step.look in AT_HEAD,
            "calibrated": step.look is Look.CALIBRATION,
            "done": standing.state == "done",
            "when": standing.at,
            "seen": standing.seen,
            "found": standing.found,
        }
        for step, standing in zip(steps(), setup_state(kit), strict=True)
    ]
