"""Options that are numbers: any other text is refused, with the correct form."""

from typing import Any

import click

from controller.bounds import BOUNDS
from controller.numerals import number_in, whole_in
from controller.quantity import SHOWN, UNITS, meant, plain, quoted


def unit_of(parameter: click.Parameter | None) -> str:
    """The unit at the end of an option's name: near_mm, wind_m_s; "" if there is none."""
    words = [] if parameter is None else str(parameter.name).split("_")
    if words[-2:] == ["m", "s"]:
        return "m/s"
    if words[-2:] == ["g", "cm2"]:
        return ""
    return words[-1] if words and words[-1] in UNITS else ""


def _bare(text: str) -> str:
    """A number as typed, to begin a sentence."""
    return text.strip() if len(text) <= SHOWN else quoted(text)


class Number(click.FloatRange):
    """A number from `low` to `high`, both included. `unit`: if the option's name has none."""

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
    """A share, as a number up to 1; for a percentage it offers the share."""

    wanted = "a share"

    def __init__(self, low: float, high: float) -> None:
        super().__init__(low, high, unit="share")


class Whole(click.IntRange):
    """A whole number from `low` to `high`, both included."""

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
    """The type of an option with the bounds of `name` in the table."""
    bound = BOUNDS[name]
    return Share(bound.least, bound.most) if bound.unit == "share" else Number(bound.least, bound.most, unit=bound.unit)


def bounded_whole(name: str) -> Whole:
    """The same for a whole number."""
    bound = BOUNDS[name]
    return Whole(round(bound.least), round(bound.most), unit=bound.unit)
