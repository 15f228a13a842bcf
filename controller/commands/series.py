"""When a capture begins, and how often: at a time, at an altitude of the sun, again and again."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from pathlib import Path

from controller import clock
from controller.commands.capture import capture_command, must_be_free_session
from controller.commands.crew import Crew, PortOpener
from controller.errors import InputError
from controller.planning.sun import sun_at
from controller.ports.serial_port import SerialPort
from controller.report.summary import Summary
from controller.report.wording import duration
from controller.times import span_of, time_or_date

TELL_EVERY = timedelta(minutes=1)
SUN_STEP = timedelta(seconds=60)
SUN_WITHIN = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class SessionSeries:
    """The sessions to write, when the first begins (None: now), and how far apart they begin."""

    sessions: tuple[Path, ...]
    start: datetime | None
    every: timedelta | None


def series_of(
    out: Path,
    *,
    start_at: str | None,
    start_when_sun: float | None,
    latitude: float | None,
    longitude: float | None,
    repeat: str | None,
    times: int | None,
) -> SessionSeries:
    """What the options ask for. Raises InputError for what does not go together."""
    if start_at is not None and start_when_sun is not None:
        raise InputError("Give --start-at or --start-when-sun, not both.")
    if (repeat is None) != (times is None):
        raise InputError("--repeat EVERY and --times N belong together.")
    now = clock.local_time()
    start = None
    if start_at is not None:
        start = moment_of(start_at, now)
    elif start_when_sun is not None:
        if latitude is None or longitude is None:
            raise InputError("--start-when-sun needs --latitude and --longitude.")
        start = when_sun_stands(start_when_sun, latitude, longitude, now)
    sessions: tuple[Path, ...] = (out,)
    if times is not None and times > 1:
        digits = len(str(times))
        sessions = tuple(out.with_stem(f"{out.stem}-{number:0{digits}}") for number in range(1, times + 1))
    return SessionSeries(sessions, start, None if repeat is None else span_of(repeat))


def moment_of(text: str, now: datetime) -> datetime:
    """A time of day, today or else tomorrow, or a date and time. Raises InputError."""
    given = time_or_date(text)
    if isinstance(given, time):
        moment = datetime.combine(now, given, now.tzinfo)
        return moment if moment > now else moment + timedelta(days=1)
    moment = given if given.tzinfo is not None else given.replace(tzinfo=now.tzinfo)
    if moment < now:
        raise InputError(f"--start-at {text} is past. Give a time that is still to come.")
    return moment


def when_sun_stands(altitude_deg: float, latitude_deg: float, longitude_deg: float, now: datetime) -> datetime:
    """The first moment from `now` when the sun passes this altitude, rising or setting, to a second.

    Raises InputError when it does not within a day.
    """

    def above(moment: datetime) -> bool:
        return sun_at(latitude_deg, longitude_deg, moment).altitude_deg > altitude_deg

    before, was = now, above(now)
    while before < now + SUN_WITHIN:
        after = before + SUN_STEP
        if above(after) != was:
            while after - before > timedelta(seconds=1):
                middle = before + (after - before) / 2
                before, after = (middle, after) if above(middle) == was else (before, middle)
            return after
        before = after
    raise InputError(f"The sun does not pass {altitude_deg:g} degrees within a day from now at that place.")


def capture_series(
    plan_path: Path,
    url: str,
    series: SessionSeries,
    crew: Crew,
    kit_path: Path | None,
    open_port: PortOpener = SerialPort,
) -> Iterator[tuple[Summary, Path]]:
    """Make each set of the series in its own session. Raises what `capture_command` raises."""
    for path in series.sessions:
        must_be_free_session(path)
    begins = series.start
    for number, session in enumerate(series.sessions):
        wait = None if begins is None else waiting_for(begins, crew.people.say)
        begins = (begins or clock.local_time()) + (series.every or timedelta())
        made = capture_command(plan_path, url, session, crew, kit_path, wait, open_port)
        yield made.summary, session
        last = number + 1 == len(series.sessions)
        if made.early and not last:
            crew.people.say(
                "The series ends here: this set was stopped before it was through, so nothing may move by itself again."
            )
            return
        crew = replace(crew, ask_first=False, sweep=False)  # answered once for all
        if not last and begins < clock.local_time():
            crew.people.say("The set took longer than the time between two; the next begins at once.")


def waiting_for(moment: datetime, say: Callable[[str], None]) -> Callable[[], bool]:
    """Whether a moment has come, telling every minute how long it still is."""
    tell_at = clock.local_time()

    def over() -> bool:
        nonlocal tell_at
        now = clock.local_time()
        if now >= moment:
            return True
        if now >= tell_at:
            left = duration((moment - now).total_seconds())
            say(f"Nothing moves until {moment:%H:%M:%S}, in {left}. Ctrl-C ends the wait.")
            tell_at = now + TELL_EVERY
        return False

    return over
