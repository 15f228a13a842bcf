"""Numbers as people type them: what an unusual form means, and how to type it.

"24mm" and "0,3" are clear to a reader, but a program that guesses will one day guess wrong. So the correct form is
offered, never assumed.
"""

import math
import re

from controller.numerals import number_in

UNITS = {
    "mm": ("length", 1.0), "cm": ("length", 10.0), "m": ("length", 1000.0), "um": ("length", 0.001),
    "µm": ("length", 0.001), "μm": ("length", 0.001), "in": ("length", 25.4),
    "s": ("time", 1.0), "sec": ("time", 1.0), "second": ("time", 1.0), "seconds": ("time", 1.0),
    "ms": ("time", 0.001), "min": ("time", 60.0), "h": ("time", 3600.0),
    "deg": ("angle", 1.0), "°": ("angle", 1.0), "degree": ("angle", 1.0), "degrees": ("angle", 1.0),
    "rad": ("angle", math.degrees(1.0)),
    "kg": ("mass", 1.0), "g": ("mass", 0.001),
    "px": ("pixels", 1.0), "pixel": ("pixels", 1.0), "pixels": ("pixels", 1.0),
    "%": ("share", 0.01), "percent": ("share", 0.01), "share": ("share", 1.0),
    "m/s": ("speed", 1.0), "km/h": ("speed", 1 / 3.6), "m2": ("area", 1.0), "m²": ("area", 1.0), "cm2": ("area", 1e-4),
}  # fmt: skip
"""The quantity and the size of each unit (SI Brochure, 9th edition; the inch: 25.4 mm)."""
NUMBER = re.compile(
    r"\s*([+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:e[+-]?[0-9]+)?)"  # with a decimal point or comma
    r"\s*([^\W\d_]+/?[^\W\d_]*[2²]?|[°%]|)\.?\s*",  # and perhaps a unit
    re.IGNORECASE,
)


def meant(text: str, unit: str) -> float | None:
    """The value in `unit` of a text that is no plain number, None if it is unclear.

    It accepts a decimal comma and a unit after the number, which is converted if it measures the same quantity. With an
    unknown unit the result is None.
    """
    match = NUMBER.fullmatch(text.replace("−", "-"))  # a typographic minus
    if match is None:
        return None
    value, behind = number_in(match[1].replace(",", ".")), match[2].casefold()
    if value is None:
        return None
    if not behind or behind == unit:
        return value
    (kind, size), (own_kind, own_size) = UNITS.get(behind, ("", 1.0)), UNITS.get(unit, (None, 1.0))
    return value * size / own_size if kind == own_kind else None


def plain(value: float) -> str:
    """A number in the form in which to type it."""
    return f"{value:.10g}"


SHOWN = 40  # characters of the typed text in a sentence


def quoted(text: str) -> str:
    """The typed text in quotes, without its middle if it is long."""
    quoted = repr(text)
    return quoted if len(quoted) <= SHOWN else f"{quoted[: SHOWN - 10]}...{quoted[-7:]}"
