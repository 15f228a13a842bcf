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

TELL_EVERY = timedelta(minutes=1)


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
    begins = series.start
    for number, session in enumerate(series.sessions):
        wait = None if begins is None else waiting_for(begins)
        begins = (begins or clock.local_time()) + (series.every or timedelta())
        made = capture_command(plan_path, url, session, crew, kit_path=kit_path, wait=wait, open_port=open_port)
        yield made.summary, session
        last = number + 1 == len(series.sessions)
        if made.early and not last:
            crew.people.say(
                "The series ends here: this set was stopped before its end, so nothing may move by itself again."
            )
            return
        crew = replace(crew, ask_first=False, sweep=False)  # answered once for all sets
        if not last and begins < clock.local_time():
            crew.people.say("The set took longer than the time between two; the next begins at once.")


def waiting_for(moment: datetime) -> Callable[[People], bool]:
    """Returns whether a moment has come; every minute tells people how long that still takes."""
    tell_at = clock.local_time()

    def over(people: People) -> bool:
        nonlocal tell_at
        now = clock.local_time()
        if now >= moment:
            return True
        if now >= tell_at:
            left = duration((moment - now).total_seconds())
            people.say(f"Nothing moves until {moment:%H:%M:%S}, in {left}. {people.stops_by} ends the wait.")
            tell_at = now + TELL_EVERY
        return False

    return over
