"""The times of a series of captures: at a time, at an altitude of the sun, repeatedly."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from functools import partial
from pathlib import Path

from controller import clock
from controller.errors import InputError
from controller.planning.sun import sun_at
from controller.times import span_of, time_or_date

SUN_STEP = timedelta(seconds=60)
SUN_WITHIN = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class SessionSeries:
    """The sessions to write, when the first begins (None: now), and the interval between them.

    `moved` gives the start again if the clock is set meanwhile, None if it must not change. It raises InputError.
    """

    sessions: tuple[Path, ...]
    start: datetime | None
    every: timedelta | None
    moved: Callable[[datetime], datetime] | None = None


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
    """The series that the options describe; they go together. Raises InputError if the start never comes."""
    now = clock.local_time()
    moved: Callable[[datetime], datetime] | None = None
    if start_at is not None:
        moved = partial(moment_of, start_at)
    elif start_when_sun is not None:
        assert latitude is not None
        assert longitude is not None
        moved = partial(when_sun_stands, start_when_sun, latitude, longitude)
    start = None if moved is None else moved(now)
    sessions: tuple[Path, ...] = (out,)
    if times is not None and times > 1:
        digits = len(str(times))
        sessions = tuple(out.with_stem(f"{out.stem}-{number:0{digits}}") for number in range(1, times + 1))
    return SessionSeries(sessions, start, None if repeat is None else span_of(repeat), moved)


def moment_of(text: str, now: datetime) -> datetime:
    """A time of day, today or otherwise tomorrow, or a date and time. Raises InputError."""
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

    Raises InputError if it does not within a day.
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
