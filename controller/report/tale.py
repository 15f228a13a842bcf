"""The story of a rehearsal: what went wrong in the world, and what the program did about it."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

from controller.amounts import counted, moment
from controller.capture.events import EventKind
from controller.capture.states import RunState
from controller.capture.words.run import EVENTS, STATES
from controller.planning.plan import Plan
from controller.planning.reached_poses import frame_pose
from controller.session.rows import Happening
from protocol.units import NS

S = RunState
DETOURS: set[str] = {S.SUSPENDED, S.RECONNECTING, S.QUIETING, S.WINDY, S.STOPPING, S.FAILED}
"""States that are always told."""
BACK: set[str] = {*DETOURS, S.ARMING, S.REFERENCING, S.RECOVERING, S.DONE}
"""States that are told until a run that was interrupted returns to its work."""


CAUSES_FIRST = ("world", "person", "program", "screen", "truth")
"""Whoever has a line, in the order in which one leads to the next."""


@dataclass(frozen=True, slots=True)
class TaleLine:
    """One line of the tale: when, who, and what."""

    at_ns: int
    who: str
    what: str

    @property
    def when(self) -> str:
        """The time of the line, as people read it."""
        return moment(self.at_ns / NS)

    def text(self) -> str:
        """The line as people read it."""
        return f"{self.when:>9}  {self.who:7}  {self.what}"


class WorldEvent(Protocol):
    """A fault in the world: when, and what in words."""

    @property
    def at_ns(self) -> int:
        """The moment in nanoseconds."""

    @property
    def what(self) -> str:
        """What happened, in words."""


class ExposureTold(Protocol):
    """An exposure as it truly was: where the camera pointed in the levelled world, and whether it was still."""

    @property
    def frame(self) -> int:
        """The frame's number in the plan."""

    @property
    def exposure(self) -> int:
        """Its number in the bracket."""

    @property
    def yaw_deg(self) -> float:
        """Yaw in degrees, to the right."""

    @property
    def pitch_deg(self) -> float:
        """Pitch in degrees, upward."""

    @property
    def still(self) -> bool:
        """Whether the picture did not move."""


def in_truth(plan: Plan, exposures: Iterable[ExposureTold], end_ns: int) -> list[TaleLine]:
    """What the program cannot know: exposures made while the picture moved, and exposures that point elsewhere."""
    where = {frame.id: frame_pose(plan.kit.head, frame) for frame in plan.frames}
    tolerance_deg = plan.kit.head.pointing_error_deg()
    moved, off_deg = 0, []
    latest = {(one.frame, one.exposure): one for one in exposures}  # the last shot of each exposure counts
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


def with_person(
    read: Sequence[tuple[int, str]], typed: Sequence[tuple[int, str]], unannounced: int, end_ns: int
) -> list[TaleLine]:
    """What the person beside the head `read` and `typed`, with the times, and how many motions were `unannounced`."""
    told = [TaleLine(at_ns, "screen", words) for at_ns, words in read if not words.startswith("Capturing")]
    told += [TaleLine(at_ns, "person", f"types {line!r}" if line else "presses Enter") for at_ns, line in typed]
    if unannounced:
        began = counted(unannounced, "motion")
        told.append(TaleLine(end_ns, "truth", f"{began} began within reach of somebody who had not been told"))
    return told


def tale(incidents: Sequence[WorldEvent], happenings: Sequence[Happening]) -> list[TaleLine]:
    """What happened in the world, and what the program did about it, in order of time."""
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
    return in_order(told)


def in_order(lines: Iterable[TaleLine]) -> list[TaleLine]:
    """The lines in order of time. At one moment what acts comes before what follows from it (CAUSES_FIRST)."""
    return sorted(lines, key=lambda line: (line.at_ns, CAUSES_FIRST.index(line.who)))
