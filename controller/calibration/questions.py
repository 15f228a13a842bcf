"""Questions asked one at a time, and the rows of their answers in order of time.

The last reading can be typed again. The rows typed so far are passed on after each one, so that a pulled cable or Ctrl-C
loses nothing.
"""

import csv
import io
import math
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from controller.bounds import ANY, Bound, reading_bound
from controller.calibration.readings import Readings, ReadingsRefused, number
from controller.calibration.records import AxisName
from controller.errors import InputError
from controller.quantity import meant, plain

TYPED = "the readings typed in"
BACK = "back"
HOW = f'Enter alone leaves a reading out; the word "{BACK}" lets you type the last reading again.'
COMMA = re.compile(r"[+-]?\d*,\d+")
THOUSANDS = re.compile(r"[+-]?\d{1,3}(,\d{3})+")


class Mover(Protocol):
    """Something that can move the head. A move is complete only when the call returns."""

    def wait_go_to(self, axis: AxisName, *stops: int) -> None:
        """Move one axis to each of these absolute steps in turn, and stop. Raises WorldError."""


def _keep_nothing(_: str) -> None:
    """For an operator whose readings need not be kept."""


@dataclass(frozen=True, slots=True)
class PersonAtHead:
    """The person at the head: `tell` prints a sentence, `ask` asks a question and returns what was typed.

    `keep` receives all rows typed so far, as the text of a CSV file.
    """

    tell: Callable[[str], None]
    ask: Callable[[str], str]
    mover: Mover | None = None
    keep: Callable[[str], None] = _keep_nothing

    def number(self, question: str, *, unit: str = "", whole: bool = False, bound: Bound = ANY) -> float | None:
        """The number typed in, None if nothing was; asks again after any other answer."""
        answer = self.answer(question, unit=unit, whole=whole, bound=bound)
        while answer == BACK:
            self.tell("There is no reading to go back to.")
            answer = self.answer(question, unit=unit, whole=whole, bound=bound)
        return None if answer is None or isinstance(answer, str) else answer

    def answer(self, question: str, *, unit: str = "", whole: bool = False, bound: Bound = ANY) -> float | str | None:
        """The number typed in, BACK, or None if nothing was typed; asks again after any other answer.

        A decimal comma is accepted like a point, except for `whole` numbers: 115,200 is ambiguous.
        """
        while True:
            typed = self.ask(question).strip()
            if not typed:
                return None
            if typed.casefold() == BACK:
                return BACK
            try:
                value = _number(typed, question, unit, whole=whole)
                if bound.holds(value):
                    return value
                self.tell(f"{typed} cannot be right: it should be {bound.text()}.")
            except InputError as error:
                self.tell(str(error))

    def send(self, axis: AxisName, angle_deg: float, steps_per_degree: float | None, side: int = 0) -> None:
        """Turn an axis to an angle, approached from below (+1), from above (-1) or from either side (0)."""
        steps = None if steps_per_degree is None else round(angle_deg * steps_per_degree)
        if self.mover is not None and steps is not None and steps_per_degree is not None:
            before = [steps - side * round(2 * steps_per_degree)] if side else []
            self.mover.wait_go_to(axis, *before, steps)
            return
        come = {0: "", 1: ", coming from below", -1: ", coming from above"}[side]
        at = "" if steps is None else f" (step {steps})"
        self.tell(f"Send the {axis.value} axis to {angle_deg:.3f}°{at}{come}.")


def _number(typed: str, question: str, unit: str, *, whole: bool) -> float:
    """The number that was typed. Raises InputError, with the correct form if it is known."""
    if whole and THOUSANDS.fullmatch(typed):
        raise InputError(f'"{typed}" may be two numbers. Write {typed.replace(",", "")} for the whole one.')
    value = math.nan
    with suppress(InputError):
        value = number(typed.replace(",", ".") if COMMA.fullmatch(typed) and not whole else typed, question)
    if whole and value != round(value, 0):
        raise InputError(f'"{typed}" is not a whole number. Example: 115200')
    if not math.isnan(value):
        return value
    said = meant(typed, unit)
    if said is None:
        raise InputError(f'"{typed}" is not a number. Example: 30.1')
    raise InputError(f'"{typed}" is not a plain number. Write {plain(said)}.')


@dataclass(frozen=True, slots=True)
class NumberQuestion:
    """A number of a row: its column, the question's words, and whether it must be a whole number."""

    column: str
    words: str
    whole: bool = False

    @property
    def unit(self) -> str:
        """The column's unit, from the end of its name."""
        return self.column.rsplit("_", maxsplit=1)[-1]

    @property
    def bound(self) -> Bound:
        """The bound on the number."""
        return reading_bound(self.column)


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """A row to ask for: its known values, how the head gets there, and the questions."""

    questions: tuple[NumberQuestion, ...]
    known: dict[str, float | str] = field(default_factory=dict)
    go: Callable[[], None] | None = None


def answered(operator: PersonAtHead, rows: Iterable[ReadingRow], total: int | None = None) -> Readings:
    """Ask for all rows until they end or, without a `total`, until the first question of a row is left empty.

    Rows that are left out are missing in the result. Raises ReadingsRefused if nothing was typed.
    """
    operator.tell(HOW if total is not None else HOW.replace("leaves a reading out", "ends"))
    asked: list[dict[str, float | str] | None] = []
    for count, row in enumerate(rows, start=1):
        if row.go is not None:
            row.go()
        of = f" [{count}]" if total is None else f" [{count} of {total}]"
        given = _answers(operator, row, of, asked)
        if given is None and total is None:
            break
        asked.append(None if given is None or len(given) < len(row.questions) else {**row.known, **given})
        operator.keep(csv_text(asked))
    return _readings([row for row in asked if row is not None])


def _answers(
    operator: PersonAtHead, row: ReadingRow, of: str, asked: list[dict[str, float | str] | None]
) -> dict[str, float | str] | None:
    """The numbers of one row; None if the first was left empty, fewer than asked for if a later one was."""
    given: dict[str, float | str] = {}
    while len(given) < len(row.questions):
        question = row.questions[len(given)]
        answer = operator.answer(
            question.words + of, unit=question.unit, whole=question.whole, bound=reading_bound(question.column)
        )
        if answer == BACK:
            if given:
                given.popitem()
            else:
                _again(operator, row, asked)
        elif answer is None:
            return given or None
        else:
            given[question.column] = answer
    return given


def _again(operator: PersonAtHead, row: ReadingRow, asked: list[dict[str, float | str] | None]) -> None:
    """Ask for the last row's values again. The head stays where it is: only typing errors can be corrected."""
    last = next((each for each in reversed(asked) if each is not None), None)
    if last is None:
        operator.tell("There is no reading to go back to.")
        return
    operator.tell("The last reading again, as it was read; the head stays where it is now.")
    for question in row.questions:
        was = last[question.column]
        words = f"{question.words} [before: {was:g}; Enter keeps it]"
        value = operator.number(words, unit=question.unit, whole=question.whole, bound=question.bound)
        if value is not None:
            last[question.column] = value
    operator.keep(csv_text(asked))


def csv_text(rows: Sequence[dict[str, float | str] | None]) -> str:
    """Rows as a CSV file that `--from` reads; empty if there are none."""
    there = [row for row in rows if row is not None]
    if not there:
        return ""
    text = io.StringIO()
    writer = csv.DictWriter(text, there[0], lineterminator="\n")
    writer.writeheader()
    writer.writerows(there)
    return text.getvalue()


def _readings(rows: Sequence[dict[str, float | str]]) -> Readings:
    if not rows:
        raise ReadingsRefused("Nothing was typed in. Type at least one row to get a result.")
    columns = {name: [row[name] for row in rows] for name in rows[0]}
    numbers = {name: np.array(column) for name, column in columns.items() if not isinstance(column[0], str)}
    words = {name: tuple(map(str, column)) for name, column in columns.items() if isinstance(column[0], str)}
    return Readings(TYPED, tuple(range(1, len(rows) + 1)), numbers, words)


def forever(row: ReadingRow) -> Iterator[ReadingRow]:
    """The same row again and again."""
    while True:
        yield row
