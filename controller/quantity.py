"""Numbers as people type them: what is no plain number is refused, with the correct form beside it.

"24mm" and "0,3" are plain to a reader, but a program that guesses will one day guess wrong; so the form is offered, and
never taken by itself.
"""

import math
import re
from typing import Any

import click

from controller.bounds import BOUNDS
from controller.numerals import number_in, whole_in

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
"""For each unit what it measures and how large it is (SI Brochure, 9th edition; the inch: 25.4 mm)."""
NUMBER = re.compile(
    r"\s*([+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:e[+-]?[0-9]+)?)"  # with a decimal point or comma
    r"\s*([^\W\d_]+/?[^\W\d_]*[2²]?|[°%]|)\.?\s*",  # and perhaps a unit
    re.IGNORECASE,
)


def meant(text: str, unit: str) -> float | None:
    """What a text that is no plain number says in `unit`, None if that cannot be known.

    Knows a decimal comma and a unit behind the number, converted if it measures the same. An unknown unit says nothing.
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


def unit_of(parameter: click.Parameter | None) -> str:
    """The unit of an option by its name, which ends with it: near_mm, wind_m_s; "" for one without."""
    words = [] if parameter is None else str(parameter.name).split("_")
    if words[-2:] == ["m", "s"]:
        return "m/s"
    if words[-2:] == ["g", "cm2"]:
        return ""
    return words[-1] if words and words[-1] in UNITS else ""


def plain(value: float) -> str:
    """A number as it should be typed."""
    return f"{value:.10g}"


SHOWN = 40  # characters of what was typed in a sentence


def quoted(text: str) -> str:
    """What was typed, quoted, its middle left out where it is long."""
    quoted = repr(text)
    return quoted if len(quoted) <= SHOWN else f"{quoted[: SHOWN - 10]}...{quoted[-7:]}"


def _bare(text: str) -> str:
    """A number as it was typed, for a sentence that begins with it."""
    return text.strip() if len(text) <= SHOWN else quoted(text)


class Number(click.FloatRange):
    """A number from `low` to `high`, both of which may be given. `unit`: if the option's name has none."""

    name = "number"
    wanted = "a number"

    def __init__(self, low: float, high: float, *, unit: str = "") -> None:
        super().__init__(low, high)
        self.low, self.high, self.unit = low, high, unit

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Convert and check. Fails like any click type, and offers the correct form."""
        number = number_in(str(value))
        if number is None or isinstance(value, bool):
            self.fail(self._advice(str(value), self.unit or unit_of(param)), param, ctx)
        if not self.holds(number):
            self.fail(self._beyond(str(value), number), param, ctx)
        return number

    def holds(self, number: float) -> bool:
        """Whether a number is in the range."""
        return self.low <= number <= self.high

    def range_text(self) -> str:
        """The range in words."""
        return f"from {plain(self.low)} to {plain(self.high)}"

    def _advice(self, text: str, unit: str) -> str:
        said = meant(text, unit)
        if said is None:
            return f"{quoted(text)} is not a number. Give {self.wanted} {self.range_text()}."
        if not self.holds(said):
            return f"{_bare(text)} is out of range. Give {self.wanted} {self.range_text()}."
        return f"{quoted(text)} is not a plain number. Write {plain(said)}."

    def _beyond(self, text: str, number: float) -> str:
        share = plain(number / 100)
        if isinstance(self, Share) and number > 1 and self.holds(float(share)):
            return f"{text} is no share. Write {share if len(share) > 3 else f'{share}0'} for {plain(number)} %."
        return f"{_bare(text)} is out of range. Give {self.wanted} {self.range_text()}."


class Share(Number):
    """A share of something, as a number up to 1; for a percentage the share is offered."""

    wanted = "a share"

    def __init__(self, low: float, high: float) -> None:
        super().__init__(low, high, unit="share")


class Whole(click.IntRange):
    """A whole number from `low` to `high`, both of which may be given."""

    name = "whole number"

    def __init__(self, low: int, high: int, *, unit: str = "") -> None:
        super().__init__(low, high)
        self.low, self.high, self.unit = low, high, unit

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Convert and check. Fails like any click type, and offers the correct form."""
        number = whole_in(str(value))
        if number is None or not self.low <= number <= self.high:
            self.fail(self._advice(str(value), self.unit or unit_of(param)), param, ctx)
        return number

    def _advice(self, text: str, unit: str) -> str:
        said = meant(text, unit)
        if said is not None and text.strip() != plain(said) and said == round(said) and self.low <= said <= self.high:
            return f"{quoted(text)} is not a plain whole number. Write {round(said)}."
        return f"{quoted(text)} cannot be used. Give a whole number from {self.low} to {self.high}."


def bounded(name: str) -> Number:
    """The kind of an option whose bounds are `name`'s in the table."""
    bound = BOUNDS[name]
    return Share(bound.least, bound.most) if bound.unit == "share" else Number(bound.least, bound.most, unit=bound.unit)


def bounded_whole(name: str) -> Whole:
    """The same for a whole number."""
    bound = BOUNDS[name]
    return Whole(round(bound.least), round(bound.most), unit=bound.unit)
