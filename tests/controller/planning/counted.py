"""A clock that counts how often it is read, so that a search always goes equally far."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count

from controller.planning.effort import Effort


def looks(many: int, *, enough: int = 0) -> Effort:
    """An effort of so many looks at the clock: as many evaluations, but for a few; it ends with `enough` frames."""
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
