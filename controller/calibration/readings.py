"""Readings from a CSV file: named columns of finite numbers, with the line of each row."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from controller.bounds import reading_bound
from controller.calibration.resolution import decimals_of, grid
from controller.errors import InputError, WorldError
from controller.numerals import number_in
from controller.optics.outline import Array
from controller.reading import READINGS, refuse
from controller.reading import read_csv as read_cells
from controller.shown import shown

MOST_ROWS = 1_000_000
OTHER_DIVISIONS = {";": "semicolons", "\t": "tabs"}


class ReadingsRefused(WorldError):
    """Readings whose result must not be used: why, and what to do."""


@dataclass(frozen=True, slots=True)
class Readings:
    """Columns of equal length: numbers as arrays, words as tuples; `lines` are the file's, or 1, 2, ... when typed in.

    Rows are in order of time. `decimals` is how many each number was written with, for columns where that is known.
    """

    name: str
    lines: tuple[int, ...]
    numbers: Mapping[str, Array]
    words: Mapping[str, tuple[str, ...]]
    decimals: Mapping[str, tuple[int, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Raises InputError for the first number that cannot be a reading, typed in or from a file."""
        for name, column in self.numbers.items():
            bound = reading_bound(name)
            wrong = np.flatnonzero(~((column >= bound.least) & (column <= bound.most)))
            if len(wrong):
                line, value = self.lines[wrong[0]], column[wrong[0]]
                raise InputError(
                    f"{self.name} line {line}: {name} = {value:.6g} cannot be a reading. It should be {bound.text()}."
                )

    def __len__(self) -> int:
        return len(self.lines)

    def only(self, kept: Sequence[bool]) -> "Readings":
        """Those rows that are `kept`."""
        chosen = [number for number, each in enumerate(kept) if each]
        return Readings(
            self.name,
            tuple(self.lines[number] for number in chosen),
            {name: column[chosen] for name, column in self.numbers.items()},
            {name: tuple(column[number] for number in chosen) for name, column in self.words.items()},
            {name: tuple(column[number] for number in chosen) for name, column in self.decimals.items()},
        )

    def resolution(self, name: str, spread: float) -> float:
        """The step of the grid that column `name` was read on; `spread` as in `resolution.grid`."""
        return grid(self.numbers[name], spread, self.decimals.get(name))

    def must_be_positive(self, name: str) -> None:
        """Raises InputError that names the first line in which column `name` is not above zero."""
        for line, value in zip(self.lines, self.numbers[name], strict=True):
            if value <= 0:
                raise InputError(f"{self.name} line {line}: {name} = {value:g} must be more than 0.")


def read_csv(path: Path, required: Sequence[str], optional: Sequence[str] = (), words: Sequence[str] = ()) -> Readings:
    """The columns `required`, and those of `optional` that exist. Columns in `words` contain words, the others numbers.

    Columns may be in any order. Other columns are ignored, and so are empty lines. Raises InputError in one sentence that
    names the file and the line.
    """
    rows = _rows(path, f"its first line should be {','.join(required)}")
    names = rows[0][1]
    missing = [name for name in required if name not in names]
    if missing:
        raise InputError(
            f"{path} line {rows[0][0]}: has no column {missing[0]}; the first line should be {','.join(required)}."
        )
    twice = next((name for name in (*required, *optional) if names.count(name) > 1), None)
    if twice is not None:
        raise InputError(f"{path} line {rows[0][0]}: has two columns {twice}.")
    if len(rows) == 1:
        raise InputError(f"{path}: has no readings below its first line.")
    wanted = [name for name in (*required, *optional) if name in names]
    return _columns(path, rows[1:], {name: names.index(name) for name in wanted}, words)


def names_in(path: Path) -> list[str]:
    """The names in the first line of a CSV file. Raises InputError."""
    return _rows(path, "its first line should name its columns")[0][1]


def _rows(path: Path, wanted: str) -> list[tuple[int, list[str]]]:
    """The non-empty lines with their numbers; at least one. Raises InputError."""
    rows: list[tuple[int, list[str]]] = []
    for line, cells in read_cells(path, READINGS):
        if len(rows) > MOST_ROWS:
            raise InputError(f"{path} line {line}: has more than {MOST_ROWS} readings; give fewer.")
        rows.append((line, cells))
    if not rows:
        raise InputError(f"{path}: is empty; {wanted}.")
    line, names = rows[0]
    for division, word in OTHER_DIVISIONS.items():
        if len(names) == 1 and division in names[0]:
            refuse(path, READINGS, f"line {line} divides its columns by {word}")
    for line, cells in rows:
        if any(cells[len(names) :]):
            what = f"line {line} has {len(cells)} cells, its first line {len(names)}; numbers need a decimal point"
            refuse(path, READINGS, what)
    return rows


def _columns(path: Path, rows: list[tuple[int, list[str]]], places: dict[str, int], words: Sequence[str]) -> Readings:
    numbers: dict[str, list[float]] = {name: [] for name in places if name not in words}
    decimals: dict[str, list[int]] = {name: [] for name in numbers}
    texts: dict[str, list[str]] = {name: [] for name in places if name in words}
    for line, row in rows:
        for name, place in places.items():
            cell = row[place] if place < len(row) else ""
            if not cell:
                raise InputError(f"{path} line {line}: {name} is missing.")
            if name in texts:
                texts[name].append(cell)
            else:
                numbers[name].append(number(cell, f"{path} line {line}: {name}"))
                decimals[name].append(decimals_of(cell))
    return Readings(
        name=str(path),
        lines=tuple(line for line, _ in rows),
        numbers={name: np.array(column) for name, column in numbers.items()},
        words={name: tuple(column) for name, column in texts.items()},
        decimals={name: tuple(column) for name, column in decimals.items()},
    )


def number(text: str, what: str) -> float:
    """The finite number in `text`, in digits with a decimal point. Raises InputError that begins with `what`."""
    value = number_in(text)
    if value is None:
        raise InputError(f"{what} = {shown(text)} is not a number (with a decimal point, and without its unit).")
    return value
