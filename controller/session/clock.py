"""The time of day of a session's exposures, from the monotonic clock and the best time of day that its runs knew.

The exposures of a run are timed by a clock that never jumps. So it does not matter when the computer's time of day is set
right: the best one that is known within one start of the computer holds for all of it, backward too.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from controller.session.rows import ClockRow, RunRow, ShotRow

SURE, UNSURE = "sure", "unsure"
SAME_S = 2.0  # two times of day this close agree


@dataclass(frozen=True, slots=True)
class ClockPiece:
    """Exposures from number `first` on whose times share one clock.

    `at_ns` is monotonic and `utc` the time of day then. `sure`: it can be believed; None if the session does not say.
    """

    first: int
    at_ns: int
    utc: datetime
    sure: bool | None

    def moment(self, at_ns: int) -> datetime:
        """The time of day at a monotonic time."""
        return self.utc + timedelta(microseconds=(at_ns - self.at_ns) / 1000)


class SessionClock:
    """Converts the monotonic clock of each run in a session to the time of day."""

    def __init__(self, runs: Sequence[RunRow], lag_ms: float, clocks: Sequence[ClockRow] = ()) -> None:
        self._lag = timedelta(milliseconds=lag_ms)
        pieces = [_piece(number, run, clocks) for number, run in enumerate(runs, 1)]
        self.pieces = [piece for piece in pieces if piece is not None]

    @property
    def is_set(self) -> bool:
        """Whether any time of day is known."""
        return bool(self.pieces)

    @property
    def is_unsure(self) -> bool:
        """Whether the time of day of any run cannot be believed."""
        return any(piece.sure is False for piece in self.pieces)

    def piece(self, number: int) -> int | None:
        """The place in `pieces` of the exposure with this number; None if its time of day is unknown."""
        found = [place for place, piece in enumerate(self.pieces) if number >= piece.first]
        return found[-1] if found else None

    def words(self, number: int) -> str:
        """Whether the time of the exposure with this number is sure or unsure; empty if the session does not know."""
        place = self.piece(number)
        sure = None if place is None else self.pieces[place].sure
        return "" if sure is None else SURE if sure else UNSURE

    def opened(self, shot: ShotRow) -> str | None:
        """When the shutter opened, in UTC; None if unknown."""
        place = self.piece(shot.number)
        if place is None:
            return None
        return (self.pieces[place].moment(shot.intended_ns) + self._lag).isoformat(timespec="milliseconds")


def clock_is_unsure(clocks: Sequence[ClockRow], runs: Sequence[RunRow]) -> bool:
    """Whether the time of day of any run cannot be believed."""
    return SessionClock(runs, 0.0, clocks).is_unsure


def _piece(number: int, run: RunRow, clocks: Sequence[ClockRow]) -> ClockPiece | None:
    """The piece of a run: the best time of day that is known within the same start of the computer."""
    own = [row for row in clocks if row.run == number]
    boots = {row.boot for row in own if row.boot}
    known = [row for row in clocks if row.run == number or row.boot in boots]
    if not known:
        return (
            None
            if run.began is None
            else ClockPiece(run.first, run.began.at_ns, datetime.fromisoformat(run.began.utc), None)
        )
    best = max(enumerate(known), key=lambda one: (one[1].trust.rank, one[0]))[1]
    # Without a time server nobody knows which of two times of day was right.
    alike = [row for row in known if row.trust is best.trust]
    sure = best.trust.is_sure and not any(_jumped(*two) for two in pairwise(alike))
    return ClockPiece(run.first, best.at_ns, datetime.fromisoformat(best.utc), sure)


def _jumped(one: ClockRow, other: ClockRow) -> bool:
    return abs(jump_s(one, other)) > SAME_S


def jump_s(one: ClockRow, other: ClockRow) -> float:
    """By how many seconds the time of day was set forward between two rows of one start of the computer."""
    by_wall = datetime.fromisoformat(other.utc) - datetime.fromisoformat(one.utc)
    return by_wall.total_seconds() - (other.at_ns - one.at_ns) / 1e9
