"""Sessions of one day and place, together: how they stand, in one line."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from controller.amounts import counted
from controller.page.listed import ListedSession, date_words
from controller.report.verdict import SetStanding


@dataclass(frozen=True, slots=True)
class SessionGroup:
    """The sessions of a day and place, the newest first."""

    day: date
    place: str
    sessions: tuple[ListedSession, ...]

    @property
    def heading(self) -> str:
        """Place and day, and how many sets there are of each standing."""
        where = f"{place_words(self.place)}, " if self.place else ""
        unreadable = sum(each.standing is None and each.counts is not None for each in self.sessions)
        sets, standings = len(self.sessions) - unreadable, Counter(each.standing for each in self.sessions)
        parts = [
            *([counted(sets, "set")] if sets else []),
            *(f"{standings[each]} {each.value}" for each in SetStanding if standings[each]),
            *([f"{counted(unreadable, 'file')} that cannot be read"] if unreadable else []),
        ]
        return f"{where}{date_words(self.day)}: {', '.join(parts)}"


def groups_of(listed: Sequence[ListedSession]) -> list[SessionGroup]:
    """Sessions by day and place, in the order in which the groups first occur."""
    found: dict[tuple[date, str], list[ListedSession]] = {}
    for each in listed:
        found.setdefault((each.day, each.place), []).append(each)
    return [SessionGroup(day, place, tuple(sessions)) for (day, place), sessions in found.items()]


def place_words(place: str) -> str:
    """A place as people read it: its word without hyphens."""
    return place.replace("-", " ")
