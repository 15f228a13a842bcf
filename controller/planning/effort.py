"""How long a search may go on, and what is told of it."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from controller import clock

TELL_EVERY_S = 0.5


@dataclass(frozen=True, slots=True)
class Sign:
    """A sign of life: seconds since the search began, seconds it may take, frames of the best plan and of the next."""

    elapsed_s: float
    effort_s: float
    best: int
    trying: int


class SpentError(Exception):
    """The search must end now."""


class Effort:
    """Seconds for one search or several. They begin with the first, and may be ended early.

    `now_s` is any clock that counts seconds. It decides when a search ends, never what it tries next. `tell` gets a sign
    of life every half second.
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
        """Whether searches were told to end early."""
        self.cut_short = False
        """Whether a search did end early for that reason."""

    def stop(self) -> None:
        """End the search at its next look at the clock, and later ones at once."""
        self.stopped = True

    @contextmanager
    def part(self, share: float) -> Iterator[None]:
        """Searches inside may take this share of what may be taken outside, and what is left of it at most."""
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
        """Look at the clock, for a search with `best` frames that tries fewer. Raises SpentError when it must end."""
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
