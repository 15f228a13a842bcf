"""Times and durations as people type them, within the range that dates can compute with.

Times must be between two years: no camera or computer has another, and with every zone and duration the result stays
valid.
"""

import re
from datetime import datetime, time, timedelta

from controller.bounds import BOUNDS
from controller.errors import InputError
from controller.numerals import number_in
from controller.quantity import quoted

FIRST_YEAR, LAST_YEAR = 1970, 2199
UNITS_S = {"s": 1, "m": 60, "h": 3600}
OF_DAY = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}))?")


def dated(text: str, example: str = "a date and time like 2026-06-21T05:30+02:00") -> datetime:
    """A date and time in ISO 8601, with or without its offset from UTC. Raises InputError."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(f"{quoted(text)} is not {example}.") from None
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise InputError(f"{quoted(text)}: the year cannot be {moment.year}. Give one from {FIRST_YEAR} to {LAST_YEAR}.")
    return moment


def time_or_date(text: str) -> time | datetime:
    """A time of day like 05:30, or a date and time. Raises InputError."""
    example = "a time like 05:30 or 2026-06-21T05:30:00+02:00"
    if (of_day := OF_DAY.fullmatch(text)) is None:
        return dated(text, example)
    try:
        hour, minute, second = (int(part or 0) for part in of_day.groups())
        return time(hour, minute, second)
    except ValueError:
        raise InputError(f"{quoted(text)} is not {example}.") from None


def span_of(text: str) -> timedelta:
    """A duration like 90s, 15m, 1h. Raises InputError."""
    number = number_in(text[:-1]) if text[-1:] in UNITS_S else None
    if number is None:
        raise InputError(f"{quoted(text)} is not a length of time like 90s, 15m or 1h.")
    seconds = number * UNITS_S[text[-1]]
    if not BOUNDS["repeat"].holds(seconds):
        raise InputError(f"{quoted(text)} cannot be kept to. Give a length of time from 1s to 8766h, a year.")
    return timedelta(seconds=seconds)
