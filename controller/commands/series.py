"""`fullturn capture` at a later time, or repeatedly: wait for each set and shoot it."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from controller import clock
from controller.amounts import duration
from controller.capture.people import People
from controller.commands.capture import capture_command
from controller.commands.crew import Crew, PortOpener
from controller.planning.series import SessionSeries
from controller.ports.serial_port import SerialPort
from controller.report.summary import Summary
from controller.session.new_place import must_be_free_session
from protocol.units import NS

TELL_EVERY = timedelta(minutes=1)
MOST_SET = timedelta(seconds=30)  # a smaller change of the clock while waiting is left alone


def capture_series(
    plan_path: Path,
    url: str,
    series: SessionSeries,
    crew: Crew,
    kit_path: Path | None,
    open_port: PortOpener = SerialPort,
) -> Iterator[tuple[Summary, Path]]:
    """Shoot each set of the series into a session of its own. Raises what `capture_command` raises."""
    for path in series.sessions:
        must_be_free_session(path)
    begins, every = series.start, series.every or timedelta()
    for number, session in enumerate(series.sessions):
        wait = None if begins is None else Waiting(begins, series.moved if number == 0 else None)
        began_ns = clock.monotonic_ns()
        made = capture_command(plan_path, url, session, crew, kit_path=kit_path, wait=wait, open_port=open_port)
        yield made.summary, session
        # Not by the time of day, which may have been set meanwhile: nothing may begin early.
        since_ns = clock.monotonic_ns() - (began_ns if wait is None else wait.begins_ns)
        begins = clock.local_time() + every - timedelta(microseconds=since_ns / 1000)
        last = number + 1 == len(series.sessions)
        if made.early and not last:
            crew.people.say(
                "The series ends here: this set was stopped before its end, so nothing may move by itself again."
            )
            return
        crew = replace(crew, ask_first=False, sweep=False)  # answered once for all sets
        if not last and begins < clock.local_time():
            crew.people.say("The set took longer than the time between two; the next begins at once.")


class Waiting:
    """Returns, when called, whether a moment has come; every minute it tells people how long that still takes.

    If the clock is set meanwhile, `moved` gives the moment by the new time; without it the wait stays as long as it was.
    """

    def __init__(self, begins: datetime, moved: Callable[[datetime], datetime] | None = None) -> None:
        self._begins, self._moved = begins, moved
        self._tell_at = self._looked = clock.local_time()
        self._looked_ns = clock.monotonic_ns()

    @property
    def begins_ns(self) -> int:
        """The moment by the monotonic clock."""
        return self._looked_ns + round((self._begins - self._looked).total_seconds() * NS)

    def __call__(self, people: People) -> bool:
        """Whether it has come."""
        now, now_ns = clock.local_time(), clock.monotonic_ns()
        set_by = now - self._looked - timedelta(microseconds=(now_ns - self._looked_ns) / 1000)
        self._looked, self._looked_ns = now, now_ns
        if abs(set_by) > MOST_SET:
            self._begins = self._begins + set_by if self._moved is None else self._moved(now)
            self._tell_at = now
            people.say("This computer's clock was set while the run waits.")
        if now >= self._begins:
            return True
        if now >= self._tell_at:
            left = duration((self._begins - now).total_seconds())
            people.say(f"Nothing moves until {self._begins:%H:%M:%S}, in {left}. {people.stops_by} ends the wait.")
            self._tell_at = now + TELL_EVERY
        return False
