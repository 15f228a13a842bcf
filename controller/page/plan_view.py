"""The view "Plan": a plan that is drawn while its options change, saved as a file, and rehearsed."""

from collections.abc import AsyncIterator
from pathlib import Path

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute

from controller.commands.faults import scenario_names
from controller.own_names import PLAN, free_path
from controller.page.page import Page
from controller.page.plan_asked import PlanAsked, RehearseAsked, SaveAsked
from controller.page.planner import Superseded
from controller.page.routing import body_of, control, say, see, sentence, stream
from controller.page.streams import PageEvent
from controller.page.work import run_command
from controller.planning.plan_file import is_own_plan


def routes(page: Page) -> list[BaseRoute]:
    """The view's routes."""
    return [
        see(page, "/plan", show),
        say(page, "/plan/draw", draw),
        control(page, "/plan/save", save),
        control(page, "/plan/rehearse", rehearse),
        see(page, "/jobs/events", events),
    ]


def show(page: Page, request: Request) -> Response:
    """The view itself."""
    plans = [each.name for each in page.folder.plan_files() if is_own_plan(each.path)]
    kits = [each.name for each in page.folder.kit_files()]
    return page.show(request, "plan.html", "plan", kits=kits, plans=plans, scenarios=scenario_names())


async def draw(page: Page, request: Request) -> Response:
    """The plan of a form, not saved: its shapes, its costs and its proof."""
    asked = await body_of(request, PlanAsked)
    try:
        drawn = await page.planner.plan(str(page.folder.must_find(asked.kit, "kit").path), asked.arguments())
    except Superseded:
        return sentence("A newer plan is being drawn.", 409)
    return JSONResponse({key: _by_names(page, value) for key, value in drawn.items()})


async def save(page: Page, request: Request) -> Response:
    """Write the plan of a form to a file."""
    asked = await body_of(request, SaveAsked)
    kit = page.folder.must_find(asked.kit, "kit")
    name = asked.name.strip().removesuffix(PLAN)
    out = [f"--out={page.folder.new_path(f'{name}{PLAN}')}"] if name else []
    result = await run_command(["plan", *out, "--json", *asked.arguments(), "--", str(kit.path)], page.folder.root)
    if result.status != 0:
        return sentence(result.sentence or "The plan was not saved.", 409)
    saved = Path(result.value["out"]).name
    return JSONResponse({"sentence": f"The plan is saved as {saved}.", "plan": saved})


async def rehearse(page: Page, request: Request) -> Response:
    """Rehearse a plan, as work beside the page."""
    asked = await body_of(request, RehearseAsked)
    plan = page.folder.must_find(asked.plan, "plan")
    out: Path = free_path(page.folder.root, f"{plan.path.stem}-rehearsal")
    faults = [f"--faults={asked.faults}"] if asked.faults else []
    job = page.jobs.begin(
        f"Rehearse {plan.name}", out.name, ["rehearse", f"--out={out}", "--json", *faults, "--", str(plan.path)]
    )
    return JSONResponse(
        {"sentence": "The rehearsal has begun.", "job": job.number, "report": f"/file/{out.name}/report.html"}
    )


def events(page: Page, request: Request) -> Response:
    """The work beside the page, as it changes."""
    return stream(page, request, _work(page))


async def _work(page: Page) -> AsyncIterator[PageEvent]:
    async for jobs in page.jobs.states():
        yield PageEvent("jobs", jobs)


def _by_names(page: Page, value: object) -> object:
    return page.folder.by_names(value) if isinstance(value, str) else value
