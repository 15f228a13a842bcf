"""Numbers as people type them: what is no plain number is refused, with the correct form beside it.

"24mm" and "0,3" are plain to a reader, but a program that guesses will one day guess wrong; so the form is offered, and
never taken by itself.
"""

import math
import re
from typing import Any

import click

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
    r"\s*([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:e[+-]?\d+)?)"  # with a decimal point or comma
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
    value, behind = float(match[1].replace(",", ".")), match[2].casefold()
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


class Number(click.FloatRange):
    """A number in a range; unlike its parent it does not let nan through. `unit`: if the option's name has none."""

    name = "number"

    wanted = "a number"

    def __init__(
        self, low: float | None = None, high: float | None = None, *, unit: str = "", min_open: bool = False
    ) -> None:
        super().__init__(low, high, min_open=min_open)
        self.unit = unit

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Convert and check. Fails like any click type, and offers the correct form."""
        try:
            number = float(value)
        except (TypeError, ValueError):
            number = math.nan
        if math.isnan(number):
            self.fail(self._advice(str(value), self.unit or unit_of(param)), param, ctx)
        if not self.holds(number):
            self.fail(self._beyond(str(value), number), param, ctx)
        return number

    def holds(self, number: float) -> bool:
        """Whether a number is in the range."""
        low = self.min is None or (number > self.min if self.min_open else number >= self.min)
        return low and (self.max is None or (number < self.max if self.max_open else number <= self.max))

    def range_text(self) -> str:
        """The range in words."""
        low, high = (None if bound is None else plain(bound) for bound in (self.min, self.max))
        if low is not None and high is not None:
            return f"above {low}, up to {high}" if self.min_open else f"from {low} to {high}"
        if low is not None:
            return f"above {low}" if self.min_open else f"of {low} or more"
        return "" if high is None else f"of {high} or less"

    def _advice(self, text: str, unit: str) -> str:
        said = meant(text, unit)
        if said is None:
            return f"{text!r} is not a number. Give {self.wanted} {self.range_text()}".rstrip() + "."
        if not self.holds(said):
            return f"{text} is out of range. Give {self.wanted} {self.range_text()}".rstrip() + "."
        return f"{text!r} is not a plain number. Write {plain(said)}."

    def _beyond(self, text: str, number: float) -> str:
        share = plain(number / 100)
        if isinstance(self, Share) and number > 1 and self.holds(float(share)):
            return f"{text} is no share. Write {share if len(share) > 3 else f'{share}0'} for {plain(number)} %."
        return f"{text} is out of range. Give {self.wanted} {self.range_text()}".rstrip() + "."


class Share(Number):
    """A share of something, as a number up to 1; for a percentage the share is offered."""

    wanted = "a share"

    def __init__(self, low: float, high: float, *, min_open: bool = False) -> None:
        super().__init__(low, high, unit="share", min_open=min_open)


class Whole(click.IntRange):
    """A whole number in a range."""

    name = "whole number"

    def __init__(self, low: int | None = None, high: int | None = None, *, unit: str = "") -> None:
        super().__init__(low, high)
        self.unit = unit

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Convert and check. Fails like any click type, and offers the correct form."""
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter:
            self.fail(self._advice(str(value), self.unit or unit_of(param)), param, ctx)

    def _advice(self, text: str, unit: str) -> str:
        bounds = [str(bound) for bound in (self.min, self.max) if bound is not None]
        wanted = f"from {' to '.join(bounds)}" if len(bounds) == 2 else f"of {bounds[0]} or more" if bounds else ""
        said = meant(text, unit)
        if said is not None and text.strip() != plain(said) and said == round(said):
            low = self.min is None or said >= self.min
            if low and (self.max is None or said <= self.max):
                return f"{text!r} is not a plain whole number. Write {round(said)}."
        return f"{text!r} cannot be used. Give a whole number {wanted}".rstrip() + "."
