"""Values of EXIF as cameras really write them, read the same way wherever a photograph is read (EXIF: CIPA DC-008)."""

import math
import re
from datetime import datetime
from typing import Any


def text(value: Any) -> str | None:
    """A text without the zeros and blanks that some cameras pad it with; None for an empty one, or what is none."""
    if not isinstance(value, str):
        return None
    return " ".join(value.replace("\0", " ").split()) or None


def positive(value: Any) -> float | None:
    """A positive number; None for what is none: a rational of 0/0 stands for nothing known."""
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) and number > 0 else None


def moment(original: Any, fraction: Any, offset: Any) -> datetime | None:
    """DateTimeOriginal with SubSecTimeOriginal, the digits after the point ("046" is 46 ms), and OffsetTimeOriginal.

    Without an offset the time of day has no zone. None where it is no time.
    """
    try:
        found = datetime.strptime(":".join(re.split("[-: ]+", text(original) or "")), "%Y:%m:%d:%H:%M:%S")
    except ValueError:
        return None
    digits = text(str(fraction)) or ""
    if digits.isdecimal():
        found = found.replace(microsecond=int(f"{digits:0<6.6}"))
    try:
        zone = datetime.strptime(text(offset) or "", "%z").tzinfo
    except ValueError:
        zone = None
    return found.replace(tzinfo=zone)
