"""EXIF values as cameras really write them, read the same way for every photograph (EXIF: CIPA DC-008).

Valid fields are defined in CIPA DC-008-2023 (Exif 3.0), section 4.6, from memory. DateTimeOriginal is "YYYY:MM:DD
HH:MM:SS", or blanks if unknown. SubSecTimeOriginal is the digits after the point. OffsetTimeOriginal is "+HH:MM" or
"-HH:MM". Orientation is 1 to 8. Invalid values count as missing.
"""

import math
import re
from datetime import datetime, timedelta
from typing import Any

FIRST_YEAR, LAST_YEAR = 1970, 2199  # a camera's clock counts from 1970 at the earliest. Common practice, no source
FARTHEST_ZONE = timedelta(hours=14)  # zones in use are -12 to +14 h from UTC (the tz database)


def text(value: Any) -> str | None:
    """A text on one line, without the zeros and blanks that some cameras pad it with; None if empty or not a text."""
    if not isinstance(value, str):
        return None
    return " ".join("".join(each if each.isprintable() else " " for each in value).split()) or None


def positive(value: Any) -> float | None:
    """A positive number, or None if not positive; a rational of 0/0 means unknown."""
    if isinstance(value, str | bytes):
        return None
    try:
        number = float(value)
    except (TypeError, ValueError, ArithmeticError):
        return None
    return number if math.isfinite(number) and number > 0 else None


def whole(value: Any) -> int | None:
    """A whole number, or None if it is not one."""
    return value if isinstance(value, int) and not isinstance(value, bool) else None


def moment(original: Any, fraction: Any, offset: Any) -> datetime | None:
    """The time from DateTimeOriginal, SubSecTimeOriginal ("046" is 46 ms) and OffsetTimeOriginal.

    It has no zone if the offset is missing or no real zone has it. None if there is no time, or one at which no camera
    shot pictures: a damaged date.
    """
    try:
        found = datetime.strptime(":".join(re.split("[-: ]+", text(original) or "")), "%Y:%m:%d:%H:%M:%S")
    except ValueError:
        return None
    if not FIRST_YEAR <= found.year <= LAST_YEAR:
        return None
    digits = text(str(fraction)) or ""
    if digits.isdecimal():
        found = found.replace(microsecond=int(f"{digits:0<6.6}"))
    try:
        zone = datetime.strptime(text(offset) or "", "%z").tzinfo
    except ValueError:
        return found
    from_utc = zone.utcoffset(None) if zone is not None else None
    return found if from_utc is None or abs(from_utc) > FARTHEST_ZONE else found.replace(tzinfo=zone)


def is_said(value: Any) -> bool:
    """Whether a date is given: blanks, or only zeros, mean unknown."""
    return bool(set(text(value) or "") - set(" 0:")) or (value is not None and not isinstance(value, str))
