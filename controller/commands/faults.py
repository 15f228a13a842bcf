"""What goes wrong in a rehearsal: finding the scenario, and telling what came of it."""

import math
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from controller.capture.events import EventKind
from controller.capture.states import RunState
from controller.capture.words.run import EVENTS, STATES
from controller.errors import InputError
from controller.planning.plan import Plan
from controller.planning.reached import frame_pose
from controller.program.program import Program
from controller.reading import SCENARIO, parse_toml, read_text
from controller.report.wording import counted, moment
from controller.session.rows import Happening
from protocol.units import NS
from sim.incidents import Incident
from sim.person import Person
from sim.rig import NOTHING
from sim.scenario import Fault, Scenario, ScenarioError, library, parse
from sim.truth import Truth

S = RunState
DETOURS: set[str] = {S.SUSPENDED, S.RECONNECTING, S.QUIETING, S.WINDY, S.STOPPING, S.FAILED}
"""States that are told whatever led to them."""
BACK: set[str] = {*DETOURS, S.ARMING, S.REFERENCING, S.RECOVERING, S.DONE}
"""States that are told until a run that left its way goes on with its work."""


@dataclass(frozen=True, slots=True)
class TaleLine:
    """One line of the tale: when, whose, and what."""

    at_ns: int
    who: str
    what: str

    @property
    def when(self) -> str:
        """The moment as people read it."""
        return moment(self.at_ns / NS)

    def text(self) -> str:
        """The line as people read it."""
        return f"{self.when:>9}  {self.who:7}  {self.what}"


def scenario_named(name: str | None) -> Scenario:
    """The scenario of that name or file, the one in which nothing goes wrong for None. Raises InputError."""
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
    """The scenario of that name or file, of which everything comes while the plan runs. Raises InputError."""
    scenario = scenario_named(name)
    frames, exposures = len(plan.frames), len(plan.exposures)
    for fault, line in zip(scenario.faults, scenario.lines, strict=True):
        late = _too_late(fault, program.expected_ns / NS, frames, exposures)
        if late:
            raise InputError(f"{scenario.name}: line {line}: {late}, so this {fault.kind} would never come.")
    return scenario


def _too_late(fault: Fault, seconds: float, frames: int, exposures: int) -> str:
    if fault.at_s is not None and fault.at_s > seconds:
        return f"the run takes about {seconds:.0f} s"
    if fault.after_exposure is not None and fault.after_exposure > exposures:
        return f"the plan has {exposures} exposures"
    if fault.at_frame is not None and fault.at_frame >= frames:
        return f"the plan's frames are 0 to {frames - 1}"
    return ""


def scenarios_text() -> str:
    """All scenarios that come with the program, a line each."""
    known = library()
    width = max(map(len, known))
    return "\n".join(f"{name:{width}}  {scenario.about}" for name, scenario in known.items())


def in_truth(plan: Plan, truth: Truth, end_ns: int) -> list[TaleLine]:
    """What the program cannot know: exposures made while the picture moved, and those that point elsewhere."""
    where = {frame.id: frame_pose(plan.kit.head, frame) for frame in plan.frames}
    tolerance_deg = plan.kit.head.pointing_error_deg()
    moved, off_deg = 0, []
    latest = {(one.frame, one.exposure): one for one in truth.exposures}  # what was shot again does not count before
    for one in latest.values():
        frame = where[one.frame]
        moved += not one.still
        yaw_deg = (one.yaw_deg - frame.yaw_deg + 180) % 360 - 180
        apart_deg = math.hypot(yaw_deg * math.cos(math.radians(frame.pitch_deg)), one.pitch_deg - frame.pitch_deg)
        if apart_deg > tolerance_deg:
            off_deg.append(apart_deg)
    told = []
    if moved:
        told.append(f"{counted(moved, 'exposure')} made while the picture moved")
    if off_deg:
        worst = f"by up to {max(off_deg):.2f}° where the head is good for {tolerance_deg:.2f}°"
        told.append(f"{counted(len(off_deg), 'exposure')} off {worst}")
    return [TaleLine(end_ns, "truth", what) for what in told]


def with_person(person: Person, end_ns: int) -> list[TaleLine]:
    """What the person beside the head was shown and typed, and whether anything began to move without a warning."""
    told = [TaleLine(at_ns, "screen", words) for at_ns, words in person.read if not words.startswith("Capturing")]
    told += [TaleLine(at_ns, "person", f"types {line!r}" if line else "presses Enter") for at_ns, line in person.typed]
    if person.unannounced:
        began = counted(len(person.unannounced), "motion")
        told.append(TaleLine(end_ns, "truth", f"{began} began within reach of somebody who had not been told"))
    return told


def tale(incidents: Sequence[Incident], happenings: Sequence[Happening]) -> list[TaleLine]:
    """What happened in the world and what the program did about it, in order of time."""
    told = [TaleLine(incident.at_ns, "world", incident.what) for incident in incidents]
    away = False
    for happening in happenings:
        state, what = happening.state, happening.what
        troubled = what in EVENTS and (what != EventKind.CHECKED or state == S.REFERENCING)
        if state in DETOURS or troubled or (away and state in BACK):
            parts = [EVENTS[EventKind(what)] if what in EVENTS else "", STATES[RunState(state)].tale]
            told.append(TaleLine(happening.at_ns, "program", ": ".join(part for part in parts if part)))
            away = True
        away = away and state in BACK
    return sorted(told, key=lambda line: line.at_ns)
