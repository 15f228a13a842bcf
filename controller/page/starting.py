"""The form that begins a run, and the command line that it makes."""

from typing import Annotated, Any

from pydantic import Field

from controller.bounds import BOUNDS
from controller.errors import InputError, WorldError
from controller.page.asked import AskedOnPage
from controller.page.served import ServedEntry, ServedFolder, newest_first
from controller.planning.plan_file import is_own_plan
from controller.session.session import Session

MINUTE_S = 60.0
MOST_PORTS = 6  # of earlier sessions, to choose from


class RunAsked(AskedOnPage):
    """How a run is to go. `port` is empty for the port that a session began with."""

    port: Annotated[str, Field(max_length=300)] = ""
    countdown: Annotated[int, Field(ge=int(BOUNDS["countdown"].least), le=int(BOUNDS["countdown"].most))] = 5
    skip_sweep: bool = False
    ask_before_moving: bool = False
    tether: bool = False
    pause_minutes: Annotated[float | None, Field(gt=0, le=6000)] = None
    pause_wh: Annotated[float | None, Field(gt=0, le=100_000)] = None


class StartAsked(RunAsked):
    """A run of a plan. `kit` is the kit as it is today, empty for that of the plan."""

    plan: Annotated[str, Field(max_length=300)]
    kit: Annotated[str, Field(max_length=300)] = ""
    place: Annotated[str, Field(max_length=200)] = ""


def start_arguments(folder: ServedFolder, asked: StartAsked) -> list[str]:
    """The command line that begins a run, its session named by day and place.

    Raises InputError for a name that is not in the folder.
    """
    if not asked.port.strip():
        raise InputError("Choose the board's port, or type it.")
    plan = folder.must_find(asked.plan, "plan")
    kit = folder.must_find(asked.kit, "kit") if asked.kit else None
    return [
        "capture",
        *_options(asked),
        *([f"--place={asked.place}"] if asked.place.strip() else []),
        *([f"--kit={kit.path}"] if kit is not None else []),
        "--",
        str(plan.path),
    ]


def resume_arguments(session: ServedEntry, asked: RunAsked) -> list[str]:
    """The command line that continues a session."""
    return ["resume", *_options(asked), "--", str(session.path)]


def _options(asked: RunAsked) -> list[str]:
    """The options of a run. Each value is joined to its name, so that none can be taken for an option."""
    flags = ("skip_sweep", "ask_before_moving", "tether")
    return [
        "--detach",
        "--json",
        f"--countdown={asked.countdown}",
        *([f"--port={asked.port.strip()}"] if asked.port.strip() else []),
        *(f"--{name.replace('_', '-')}" for name in flags if getattr(asked, name)),
        *([f"--pause-every={round(asked.pause_minutes * MINUTE_S)}s"] if asked.pause_minutes is not None else []),
        *([f"--pause-every-wh={asked.pause_wh:g}"] if asked.pause_wh is not None else []),
    ]


def choices(folder: ServedFolder, plan: str = "", port: str = "") -> dict[str, Any]:
    """What the form offers: plans (the newest first), kits, `port` if it is known, and the ports of earlier sessions."""
    plans = [each for each in newest_first(folder.plan_files()) if is_own_plan(each.path)]
    return {
        "plan": plan,
        "plans": [each.name for each in plans],
        "kits": [each.name for each in folder.kit_files()],
        "ports": list(dict.fromkeys([*([port] if port else []), *_ports(folder)])),
    }


def _ports(folder: ServedFolder) -> list[str]:
    ports: list[str] = []
    for each in newest_first(folder.session_files())[:MOST_PORTS]:
        try:
            with Session.open(each.path) as session:
                port = session.about().get("port")
        except (InputError, WorldError):
            continue
        if port is not None and port not in ports:
            ports.append(port)
    return ports
