"""Pauses that were planned before the run: for a battery that lasts so many minutes, or so many watt-hours.

Energy is estimated: the power that the kit states, times the time since the run began. The head holds its place with
power on, so the time of a pause counts as well, up to the moment when the run goes on.
"""

from collections.abc import Callable
from dataclasses import dataclass

from controller.amounts import duration
from controller.capture.events import EventKind, Wanted
from controller.capture.states import RunState
from controller.session.rows import Happening
from protocol.units import NS

HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class PauseRule:
    """Pause after this many seconds, or this many watt-hours, whichever comes first; None: not by that.

    `watts` is the power of head and camera that the kit states.
    """

    every_s: float | None = None
    every_wh: float | None = None
    watts: float = 0.0

    @property
    def lasts_s(self) -> float | None:
        """The time from one planned pause to the next; None if none is planned."""
        by_energy = None if self.every_wh is None or not self.watts else self.every_wh / self.watts * HOUR_S
        return min((each for each in (self.every_s, by_energy) if each is not None), default=None)

    def is_due(self, used_s: float) -> bool:
        """Whether so many seconds are enough."""
        return self.lasts_s is not None and used_s >= self.lasts_s

    def used_wh(self, used_s: float) -> float:
        """The energy that head and camera take in this time, in watt-hours."""
        return self.watts * used_s / HOUR_S

    def used_text(self, used_s: float) -> str:
        """What was used in this time, for people."""
        energy = f" and about {self.used_wh(used_s):.1f} Wh" if self.watts else ""
        return f"{duration(used_s)}{energy}"


NO_PAUSES = PauseRule()


class PlannedPauses:
    """The planned pauses of one run. `now` is the clock in nanoseconds, `say` shows a sentence."""

    def __init__(self, rule: PauseRule, now: Callable[[], int], say: Callable[[str], None]) -> None:
        self._rule, self._now, self._say = rule, now, say
        self._since_ns = now()
        self._asked = self._paused = False

    def next_request(self) -> Wanted | None:
        """The request to pause when it is due, once for each pause."""
        if self._asked or not self._rule.is_due(self._used_s()):
            return None
        self._asked = True
        return Wanted(EventKind.PAUSE)

    def change(self, happening: Happening) -> None:
        """Tell people what the pause is for; count from the beginning when the run goes on."""
        paused, self._paused = self._paused, happening.state == RunState.PAUSED
        if not self._asked or paused == self._paused:
            return
        if self._paused:
            used = self._rule.used_text(self._used_s())
            self._say(
                f"Planned pause after {used}. Support the camera before you cut the power. "
                "Change the battery, then go on."
            )
        else:
            self._since_ns, self._asked = self._now(), False

    @property
    def battery_s(self) -> float | None:
        """The time on this battery so far, in seconds; None if no pause is planned."""
        return None if self._rule.lasts_s is None else self._used_s()

    @property
    def pause_in_s(self) -> float | None:
        """The time until the next planned pause, in seconds; None if none is planned."""
        return None if self._rule.lasts_s is None else max(0.0, self._rule.lasts_s - self._used_s())

    def _used_s(self) -> float:
        return (self._now() - self._since_ns) / NS
