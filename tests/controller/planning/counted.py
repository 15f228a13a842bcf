"""A clock that counts how often it is read, so that a search always goes equally far."""

from __future__ import annotations

from itertools import count

from controller.planning.effort import Effort


def looks(many: int) -> Effort:
    """An effort of about this many readings of the clock, and as many evaluations."""
    ticks = count()
    return Effort(many, now_s=lambda: next(ticks))
