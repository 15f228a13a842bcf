"""Readings of several moves, some of them shaped: which rows belong to which move.

A file has the columns time_ms,value as for one move, and besides: axis (pan or tilt), shaped (no, yes, or the impulses
that were laid over the ramp), and pitch_deg if there are several pitches. All rows of a move follow one another.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from controller.bounds import BOUNDS
from controller.calibration.readings import Readings
from controller.calibration.records import MOST_PITCHES, AxisName
from controller.errors import InputError
from controller.optics.outline import Array
from controller.shown import shown
from protocol.shaper import PLAIN, WHOLE, Shaper, trouble

COLUMNS = ("axis", "shaped", "pitch_deg")
WORDS = ("axis", "shaped")
NO, YES = "no", "yes"
IMPULSE = re.compile(r"(\d{1,5}):(\d{1,5})", re.ASCII)


@dataclass(frozen=True, slots=True)
class MeasuredMove:
    """A move whose end is measured: the axis, the camera's pitch, and its shaper. None: the one for the kit's head."""

    axis: AxisName
    pitch_deg: float
    shaper: Shaper | None

    @property
    def is_plain(self) -> bool:
        """Whether it was made without a shaper."""
        return self.shaper == PLAIN

    @property
    def place(self) -> tuple[AxisName, float]:
        """Where it was made."""
        return self.axis, self.pitch_deg

    def text(self) -> str:
        """For people."""
        return f"{self.axis.value} at pitch {self.pitch_deg:g}°, {'without' if self.is_plain else 'with'} the shaper"


@dataclass(frozen=True, slots=True, eq=False)
class MoveReadings:
    """The readings after one move: times (n,) in s since its end, values (n,), and how to name them to people.

    `factor` is what the sensor's own values were multiplied by.
    """

    move: MeasuredMove
    name: str
    time_s: Array
    value: Array
    factor: float = 1.0


def has_moves(names: Sequence[str]) -> bool:
    """Whether a file with these columns has readings of several moves."""
    return bool(set(names) & set(COLUMNS))


def moves_in(readings: Readings, from_ms: float, factor: float = 1.0) -> tuple[MoveReadings, ...]:
    """The moves, in the order of the file, without readings before `from_ms`; values times `factor`.

    Raises InputError.
    """
    pitches = readings.numbers.get("pitch_deg", np.zeros(len(readings)))
    keys = [_move_at(readings, row, float(pitches[row])) for row in range(len(readings))]
    found: dict[MeasuredMove, MoveReadings] = {}
    for move, group in groupby(range(len(readings)), key=lambda row: keys[row]):
        rows = np.array(list(group))
        first = f"{readings.name} line {readings.lines[rows[0]]}"
        if any(other.place == move.place and other.is_plain == move.is_plain for other in found):
            raise InputError(f"{first}: {move.text()} is there twice. Keep the rows of a move together, and give one.")
        time_ms = readings.numbers["time_ms"][rows]
        backward = np.flatnonzero(np.diff(time_ms) <= 0)
        if len(backward):
            raise InputError(
                f"{readings.name} line {readings.lines[rows[backward[0] + 1]]}: time_ms does not grow; give the readings "
                "of a move in order, and of one move for each axis, pitch_deg and shaped."
            )
        kept = rows[time_ms >= from_ms]
        name = f"{readings.name} from line {readings.lines[rows[0]]} ({move.text()})"
        time_s, value = readings.numbers["time_ms"][kept] / 1000, readings.numbers["value"][kept] * factor
        found[move] = MoveReadings(move, name, time_s, value, factor)
    _must_have_pairs(readings, found)
    return tuple(found.values())


def _must_have_pairs(readings: Readings, found: dict[MeasuredMove, MoveReadings]) -> None:
    plain = {move.place for move in found if move.is_plain}
    for move, read in found.items():
        if move.place not in plain:
            raise InputError(
                f"{read.name}: there is no move without the shaper to compare with. Add the readings of one "
                f"({move.axis.value}, pitch_deg {move.pitch_deg:g}, shaped {NO})."
            )
    if len({pitch for _, pitch in plain}) > MOST_PITCHES:
        raise InputError(f"{readings.name}: has more than {MOST_PITCHES} pitches; give fewer.")


def _move_at(readings: Readings, row: int, pitch_deg: float) -> MeasuredMove:
    where = f"{readings.name} line {readings.lines[row]}"
    axis = readings.words["axis"][row]
    if axis not in set(AxisName):
        raise InputError(f"{where}: axis = {shown(axis)} is not an axis; write pan or tilt.")
    bound = BOUNDS["pitch_deg"]
    if not bound.holds(pitch_deg):
        raise InputError(f"{where}: pitch_deg = {pitch_deg:g} is no pitch of a camera. It should be {bound.text()}.")
    return MeasuredMove(AxisName(axis), pitch_deg, shaper_in(readings.words["shaped"][row], where))


def shaper_in(cell: str, where: str) -> Shaper | None:
    """The shaper in a cell of the column shaped; None for "yes". Raises InputError that begins with `where`."""
    word = cell.strip().lower()
    if word == YES:
        return None
    if word == NO:
        return PLAIN
    matches = [IMPULSE.fullmatch(part) for part in word.split()]
    impulses = tuple((int(match[1]), int(match[2])) for match in matches if match is not None)
    if len(impulses) < len(matches) or not impulses:
        raise InputError(
            f"{where}: shaped = {shown(cell)} is not understood; write {NO}, {YES}, or impulses as milliseconds:share of "
            f"{WHOLE}, like 0:32768 62:32768."
        )
    if (wrong := trouble(impulses)) is not None:
        raise InputError(f"{where}: shaped is no shaper ({wrong}). Write the impulses that the board was told, or {YES}.")
    return Shaper(impulses)


def cell_of(shaper: Shaper) -> str:
    """A shaper as a cell of the column shaped."""
    return " ".join(f"{delay}:{share}" for delay, share in shaper.impulses) or NO
