"""The time limit of a search, and its progress reports."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from controller import clock

TELL_EVERY_S = 0.5


@dataclass(frozen=True, slots=True)
class Sign:
    """Progress of a search: seconds since it began, its limit in seconds, frames of the best plan and of the next."""

    elapsed_s: float
    effort_s: float
    best: int
    trying: int


class SpentError(Exception):
    """The search must end now: its time is used up, or it was stopped."""


class Effort:
    """The time limit, seconds, of one search or of several. Time counts from the first search.

    `now_s` is any clock that counts seconds. It decides when a search ends, never what it tries next. `tell` gets a
    `Sign` every half second.
    """

    def __init__(
        self,
        seconds: float,
        now_s: Callable[[], float] = clock.monotonic_s,
        tell: Callable[[Sign], None] = lambda _: None,
    ) -> None:
        self._seconds, self._now_s, self._tell = seconds, now_s, tell
        self._allowed_s = self._until_s = seconds
        self._began_s: float | None = None
        self._told_s = -TELL_EVERY_S
        self.elapsed_s = 0.0
        """Seconds from the first search to the latest look at the clock."""
        self.stopped = False
        """Whether `stop` was called."""
        self.cut_short = False
        """Whether a search ended early because of it."""

    def stop(self) -> None:
        """End the running search at its next check of the clock, and later searches at once."""
        self.stopped = True

    @contextmanager
    def part(self, share: float) -> Iterator[None]:
        """Limit the searches inside to this share of the outer limit, or to what is left of it if that is less."""
        before = self._allowed_s, self._until_s
        if self._began_s is not None:
            self.elapsed_s = self._now_s() - self._began_s
        self._allowed_s = share * self._allowed_s
        self._until_s = min(self._until_s, self.elapsed_s + self._allowed_s)
        try:
            yield
        finally:
            self._allowed_s, self._until_s = before

    def spend(self, best: int, trying: int) -> None:
        """Check the clock, for a search that has `best` frames and tries fewer. Raises SpentError if it must end."""
        now_s = self._now_s()
        if self._began_s is None:
            self._began_s = now_s
        self.elapsed_s = now_s - self._began_s
        if self.stopped:
            self.cut_short = True
            raise SpentError
        if self.elapsed_s >= self._until_s:
            raise SpentError
        if self.elapsed_s >= self._told_s + TELL_EVERY_S:
            self._told_s = self.elapsed_s
            self._tell(Sign(self.elapsed_s, self._seconds, best, trying))
