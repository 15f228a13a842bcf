"""The pulse of a run: its latest figures in the session, so that a window elsewhere can show them."""

import os
from typing import Protocol

from controller import clock
from controller.capture.events import EventKind
from controller.capture.planned_pauses import PlannedPauses
from controller.capture.seen import Seen
from controller.capture.states import RunState
from controller.kit.kit import Kit
from controller.kit.provenance import Source
from controller.session.rows import Happening
from controller.session.session import Session
from controller.session.talk_rows import PulseRow
from protocol.statistics import LinkStatistics
from protocol.units import NS

EVERY_NS, STILL_EVERY_NS = NS, 10 * NS
"""Time between two pulses, in motion and while the run waits for a person: an SD card endures only so many writes."""
STILL = {RunState.PAUSED, RunState.ASKING}
IN_MOTION = {RunState.MOVING, RunState.REFERENCING}


class Watched(Protocol):
    """What a display reads from a run under way."""

    @property
    def line(self) -> LinkStatistics:
        """The counters of the link."""

    @property
    def pause(self) -> EventKind | None:
        """The pause that was requested."""

    @property
    def shaped(self) -> bool:
        """Whether the board shapes its ramps."""


class Pulsing(Watched, Protocol):
    """What a pulse reads from it as well."""

    @property
    def supply_low(self) -> bool | None:
        """Whether the supply voltage is low; None before the board has said."""

    @property
    def gusts(self) -> bool | None:
        """Whether it is too windy; None without a sensor."""


def watts_of(kit: Kit) -> float | None:
    """What head and camera draw together, watts; None if the kit does not state both."""
    if any(kit.source(f"power.{key}") is Source.EXAMPLE for key in ("head_watts", "camera_watts")):
        return None
    return kit.power.watts


class Pulse:
    """Writes the figures of one run: at most once a second, at once when a pause is requested, and at its end.

    The times and the energy that earlier runs of the session used are added to those of this one.
    """

    def __init__(self, session: Session, seen: Seen, run: Pulsing, planned: PlannedPauses | None = None) -> None:
        self._session, self._seen, self._run, self._planned = session, seen, run, planned
        before = session.pulse()
        self._used_before_s = 0.0 if before is None else before.used_s
        self._moving_s = 0.0 if before is None else before.moving_s
        self._moving_since_ns: int | None = None
        self._watts = watts_of(seen.program.kit)
        self._due_ns, self._wrote_ns = 0, -EVERY_NS
        self._pause: EventKind | None = None

    def change(self, happening: Happening) -> None:
        """Note a change of state."""
        if self._moving_since_ns is not None:
            self._moving_s += (happening.at_ns - self._moving_since_ns) / NS
        self._moving_since_ns = happening.at_ns if happening.state in IN_MOTION else None
        self._due_ns = self._wrote_ns + EVERY_NS

    def tick(self, now_ns: int) -> None:
        """Write the figures if they are old enough, or if a pause was requested. Raises StorageFailed."""
        if now_ns >= self._due_ns or self._run.pause is not self._pause:
            self.beat(now_ns)

    def beat(self, now_ns: int) -> None:
        """Write the figures now. Raises StorageFailed."""
        now = self._seen.now
        self._wrote_ns, self._pause = now_ns, self._run.pause
        self._due_ns = now_ns + (STILL_EVERY_NS if now is not None and now.state in STILL else EVERY_NS)
        self._session.beat(self._row(now_ns))

    def _row(self, now_ns: int) -> PulseRow:
        seen, run, line = self._seen, self._run, self._run.line
        used_s = self._used_before_s + (now_ns - seen.began_ns) / NS
        moving_s = 0.0 if self._moving_since_ns is None else (now_ns - self._moving_since_ns) / NS
        return PulseRow(
            at_ns=now_ns,
            at_utc=clock.wall_time(),
            process=os.getpid(),
            done=seen.made_before + seen.done,
            total=seen.made_before + seen.total,
            left_ns=round(seen.left_s(shaped=run.shaped) * NS),
            pause=None if run.pause is None else run.pause.value,
            sent=line.sent,
            repeated=line.retransmitted,
            damaged=line.damaged,
            supply_low=_as_whole(run.supply_low),
            gusts=_as_whole(run.gusts),
            shaped=int(run.shaped),
            used_s=used_s,
            moving_s=self._moving_s + moving_s,
            used_wh=None if self._watts is None else used_s / 3600 * self._watts,
            battery_s=None if self._planned is None else self._planned.battery_s,
            pause_in_s=None if self._planned is None else self._planned.pause_in_s,
        )


def _as_whole(flag: bool | None) -> int | None:
    return None if flag is None else int(flag)
