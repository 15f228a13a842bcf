"""Making the moves of a course one by one, with the readings after each of them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

import numpy as np

from controller import clock
from controller.calibration.mover import HandMover
from controller.calibration.questions import PersonAtHead, csv_text
from controller.calibration.readings import Readings, read_csv
from controller.calibration.settle_course import CourseMove
from controller.calibration.settle_moves import cell_of
from controller.errors import InputError
from controller.program.program import Settings

Row = dict[str, float | str]
NAMES = ("time_ms", "value")


class Sensor(Protocol):
    """What reads the camera's swing after a move."""

    def wait_ready(self, what: str) -> None:
        """Return when it records. `what` names the move that comes."""

    def wait_readings(self, what: str) -> Readings | None:
        """The readings after the move, with the columns time_ms (0: the end of the move) and value; None if left out."""


@dataclass(frozen=True, slots=True)
class PersonSensor:
    """A sensor that the operator starts, and whose readings the operator gives as a file."""

    operator: PersonAtHead

    def wait_ready(self, what: str) -> None:
        """Ask to start it."""
        self.operator.ask(f"Start the sensor's record for {what}, take your hands off the head, and press Enter")

    def wait_readings(self, what: str) -> Readings | None:
        """Ask for the file until it can be read, or is left out."""
        while True:
            typed = self.operator.ask(
                f"File with the readings of {what} ({','.join(NAMES)}), or Enter to go on without it"
            ).strip()
            if not typed:
                return None
            try:
                return read_csv(Path(typed), NAMES)
            except InputError as error:
                self.operator.tell(str(error))


@dataclass(slots=True)
class Made:
    """What was done: a row for each move, and a row for each reading."""

    moves: list[Row] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)

    def readings(self, name: str) -> Readings:
        """All readings, under this name."""
        numbers = {column: np.array([row[column] for row in self.rows], dtype=float) for column in (*NAMES, "pitch_deg")}
        words = {column: tuple(str(row[column]) for row in self.rows) for column in ("axis", "shaped")}
        return Readings(name, tuple(range(2, len(self.rows) + 2)), numbers, words)


def measured(
    mover: HandMover,
    moves: Sequence[CourseMove],
    settings: Settings,
    sensor: Sensor,
    keep: tuple[Callable[[str], None], Callable[[str], None]],
) -> Made:
    """Make each move, announced, and take the readings after it; `keep` receives all moves, and all readings, so far.

    A board that does not shape its ramps makes the plain ones only. Raises InputError, WorldError.
    """
    made = Made()
    keep_moves, keep_rows = keep
    for number, planned in enumerate(moves, start=1):
        move = planned.move
        if not move.is_plain and made.moves and not mover.shapes:
            continue
        what = f"move {number} of {len(moves)} ({move.text()})"
        mover.wait_visit(planned.before, f"the head turns to where {what} begins")
        sensor.wait_ready(what)
        mover.wait_pass(planned.quiet_ns)
        way_deg = planned.way_deg(settings)
        mover.wait_visit((planned.end,), f"{what}: {move.axis.value} turns by {way_deg:.2f}°", planned.shapers)
        made.moves.append(_row_of(number, planned, way_deg))
        keep_moves(csv_text(made.moves))
        read = sensor.wait_readings(what)
        if read is not None:
            made.rows += _rows_of(planned, read)
            keep_rows(csv_text(made.rows))
    return made


def _row_of(number: int, planned: CourseMove, way_deg: float) -> Row:
    return {"move": number, **_which(planned), "turned_deg": round(way_deg, 4), "ended_at": clock.wall_time()}


def _which(planned: CourseMove) -> Row:
    move = planned.move
    assert move.shaper is not None
    return {"axis": move.axis.value, "pitch_deg": move.pitch_deg, "shaped": cell_of(move.shaper)}


def _rows_of(planned: CourseMove, read: Readings) -> list[Row]:
    times, values = read.numbers["time_ms"].tolist(), read.numbers["value"].tolist()
    return [{"time_ms": time_ms, "value": value, **_which(planned)} for time_ms, value in zip(times, values, strict=True)]
