"""The faults of a rehearsal: find their scenario, and list the scenarios."""

import os
from pathlib import Path

from controller.errors import InputError
from controller.planning.plan import Plan
from controller.program.program import Program
from controller.reading import SCENARIO, parse_toml, read_text
from protocol.units import NS
from sim.rig import NOTHING
from sim.scenario import Fault, Scenario, ScenarioError, library, parse


def scenario_named(name: str | None) -> Scenario:
    """The scenario of that name or file; for None the one without faults. Raises InputError."""
    if name is None:
        return NOTHING
    known, path = library(), Path(name)
    if name in known:
        return known[name]
    if not os.path.lexists(path):
        raise InputError(f"{name} is neither a file nor a scenario; there are {', '.join(known)}.")
    try:
        text = read_text(path, SCENARIO)
        parse_toml(text, name, SCENARIO)
        return parse(text, name)
    except ScenarioError as error:
        raise InputError(str(error)) from None


def scenario_for(name: str | None, plan: Plan, program: Program) -> Scenario:
    """The scenario of that name or file, all of whose faults occur while the plan runs. Raises InputError."""
    scenario = scenario_named(name)
    frames, exposures = len(plan.frames), len(plan.exposures)
    for fault, line in zip(scenario.faults, scenario.lines, strict=True):
        late = _too_late(fault, program.expected_ns / NS, frames, exposures)
        if late:
            raise InputError(f"{scenario.name}: line {line}: {late}, so this {fault.kind} would never occur.")
    return scenario


def _too_late(fault: Fault, seconds: float, frames: int, exposures: int) -> str:
    if fault.at_s is not None and fault.at_s > seconds:
        return f"the run takes about {seconds:.0f} s"
    if fault.after_exposure is not None and fault.after_exposure > exposures:
        return f"the plan has {exposures} exposures"
    if fault.at_frame is not None and fault.at_frame >= frames:
        return f"the plan's frames are 0 to {frames - 1}"
    return ""


def scenario_names() -> list[tuple[str, str]]:
    """Name and description of every scenario that comes with the program."""
    return [(name, scenario.about) for name, scenario in library().items()]


def scenarios_text() -> str:
    """All scenarios that come with the program, one line each."""
    known = scenario_names()
    width = max(len(name) for name, _ in known)
    return "\n".join(f"{name:{width}}  {about}" for name, about in known)
