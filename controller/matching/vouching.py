"""Whether a card's pairs can be believed at all.

Times of another run often fit: a head turns at a steady pace, and lost files or a clock reset explain the rest. But then
nothing is sure, since the same files fit as well some frames earlier or later. So a card is of a run if at least one pair
is sure, or if the camera's clock vouches for it: by that clock, it was shot at the time of day of the run. Such a clock
may be wrong by minutes, and by its time zone if the files do not name one.
"""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime

from controller.amounts import counted
from controller.matching.fit import FARTHEST_ZONE_S
from controller.matching.pairing import Pairing

MOST_OFF_S = 240.0  # of a clock that somebody set. Our own choice, no source
ZONES_S = 1800.0  # apart; three zones in use are a quarter of an hour off this (the tz database), and vouch for nothing


def believable(pairing: Pairing, first_s: float | None, *, zone_known: bool) -> bool:
    """Whether the card is of this run. `first_s` is when its first exposure opened, in UTC; None if that is unknown."""
    sure = any(match.sure and match.exposure is not None for match in pairing.matches)
    return sure or any(vouches(ahead_s, zone_known=zone_known) for ahead_s in _ahead(pairing, first_s))


def _ahead(pairing: Pairing, first_s: float | None) -> Iterator[float]:
    """By how much each clock that the camera followed is ahead, in seconds."""
    if first_s is not None:
        paired = {
            clock for clock, match in zip(pairing.clock, pairing.matches, strict=True) if match.exposure is not None
        }
        yield from (pairing.fits[clock].offset_s - first_s for clock in sorted(paired))


def vouches(ahead_s: float, *, zone_known: bool) -> bool:
    """Whether a camera's clock that is this far ahead shows the time of day, in its zone if the files do not name it."""
    zone_s = 0.0 if zone_known else round(ahead_s / ZONES_S) * ZONES_S
    return abs(ahead_s - zone_s) <= MOST_OFF_S and abs(ahead_s) <= FARTHEST_ZONE_S


def other_day(ahead_s: float | None) -> str | None:
    """A sentence if the camera's clock is further off than any time zone; None otherwise."""
    if ahead_s is None or abs(ahead_s) <= FARTHEST_ZONE_S:
        return None
    hours = abs(ahead_s) / 3600
    amount = counted(round(hours), "hour") if hours < 48 else counted(round(hours / 24), "day")
    return (
        f"By the camera's clock this card was shot {amount} {'after' if ahead_s > 0 else 'before'} the session: unless "
        "that clock was wrong, it is the card of another run of the same plan."
    )


def when(files_s: Sequence[float], exposures_s: Sequence[float] | None) -> str:
    """When the files were shot by the camera's clock, and the run (UTC, if known), for a sentence that ends with it."""
    card = f"by the camera's clock they were shot {_span(files_s)}"
    return card if exposures_s is None else f"{card}, the run was {_span(exposures_s)} UTC"


def _span(times_s: Sequence[float]) -> str:
    first, last = (datetime.fromtimestamp(pick(times_s), UTC) for pick in (min, max))
    end = f"{last:%H:%M}" if last.date() == first.date() else f"{last:%Y-%m-%d %H:%M}"
    return f"{first:%Y-%m-%d %H:%M} to {end}"
