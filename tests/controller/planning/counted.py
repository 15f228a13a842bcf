"""A clock that counts how often it is read, so that a search always goes equally far."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count

from controller.planning.effort import Effort


def looks(many: int, *, enough: int = 0) -> Effort:
    """An effort of about this many readings of the clock, and as many evaluations."""
    ticks = count()
    return _Enough(many, enough, lambda: next(ticks))


class _Enough(Effort):
    def __init__(self, many: int, enough: int, now_s: Callable[[], float]) -> None:
        super().__init__(many, now_s=now_s)
        self._enough = enough

    def spend(self, best: int, trying: int) -> None:
        if best <= self._enough:
            self.stop()
        super().spend(best, trying)
