"""A clock that counts how often it is read, so that a search always goes equally far."""

from __future__ import annotations

from itertools import count

from controller.planning.effort import Effort


def looks(many: int) -> Effort:
    """An effort of so many looks at the clock: as many evaluations, but for a few."""
    ticks = count()
    return Effort(many, now_s=lambda: next(ticks))
