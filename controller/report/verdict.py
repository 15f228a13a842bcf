"""The verdict on a set: what its rows say, and nothing else. Every headline and every exit status comes from here.

How the last run ended is only an account of that run: frames may have been asked for again since, or shot since.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from controller.kit.kit import Head
from controller.planning.plan import Plan
from controller.program.program import Exposure
from controller.session.rows import DoubtReason, DoubtRow, Doubts, ShotOutcome, ShotRow


class SetStanding(StrEnum):
    """Where a set stands. Only the first two need nothing more."""

    COMPLETE = "complete"
    """Every planned exposure is confirmed."""
    ASSUMED = "assumed"
    """None is missing, as far as can be known: some are not confirmed."""
    UNCHECKED = "unchecked"
    """None is missing, but a switch was not passed again since the last ones."""
    INCOMPLETE = "incomplete"
    NOT_BEGUN = "not begun"
    DAMAGED = "damaged"
    """A part of the session cannot be read, so nobody knows what that part would say."""
    UNDER_WAY = "under way"
    """A run is working on it now."""


class Lack(StrEnum):
    """Why an exposure is missing."""

    NOT_TRIED = "not tried"
    UNCONFIRMED = "unconfirmed"
    """The camera did not answer."""
    IN_DOUBT = "in doubt"
    """Nobody heard how it ended."""
    SUSPECT = "suspect"
    """It was shot while the head may have pointed elsewhere."""
    RETAKE = "retake"
    """It was shot, and is wanted again."""


LACKS = {
    None: Lack.IN_DOUBT,
    ShotOutcome.INTERRUPTED: Lack.IN_DOUBT,
    ShotOutcome.UNCONFIRMED: Lack.UNCONFIRMED,
    DoubtReason.SUSPECT: Lack.SUSPECT,
    DoubtReason.RETAKE: Lack.RETAKE,
}


@dataclass(frozen=True, slots=True)
class Verdict:
    """Every planned exposure is in exactly one of `confirmed`, `assumed` and `missing`.

    `retaken` were shot again since they were doubted. `openings` counts every exposure that was made, those that do
    not count any more included. `unchecked` names axes whose zero was not checked after the last exposures.
    """

    standing: SetStanding
    confirmed: frozenset[Exposure]
    assumed: frozenset[Exposure]
    missing: Mapping[Exposure, Lack]
    retaken: frozenset[Exposure]
    openings: int
    unchecked: tuple[str, ...] = ()
    losses: tuple[str, ...] = ()

    @property
    def planned(self) -> int:
        """How many exposures the plan has."""
        return len(self.confirmed) + len(self.assumed) + len(self.missing)

    @property
    def exit_status(self) -> int:
        """0 if there is nothing left to do, 1 otherwise. An assumed set is not a failure."""
        return 0 if self.standing in {SetStanding.COMPLETE, SetStanding.ASSUMED} else 1

    @property
    def missing_frames(self) -> tuple[int, ...]:
        """The frames that lack an exposure."""
        return tuple(sorted({frame for frame, _ in self.missing}))

    def lacking(self, why: Lack) -> int:
        """How many exposures are missing for this reason."""
        return sum(lack is why for lack in self.missing.values())


def verdict(
    plan: Plan,
    shots: Sequence[ShotRow],
    doubts: Sequence[DoubtRow] = (),
    *,
    unchecked: Sequence[str] = (),
    under_way: bool = False,
    losses: Sequence[str] = (),
) -> Verdict:
    """Hold `shots` against `plan`, less what the `doubts` take away.

    `unchecked` are axes (pan, tilt) whose zero was not checked after the last exposures; `under_way` says that a run
    works on the session now; `losses` say what of a damaged session cannot be read. An exposure is confirmed if any row
    that is not doubted says so.
    """
    wanted, doubted = plan.exposures, Doubts.of(doubts)
    latest: dict[Exposure, Lack] = {}
    confirmed: set[Exposure] = set()
    assumed: set[Exposure] = set()
    for shot in shots:
        exposure = (shot.intent.frame, shot.intent.exposure)
        doubt = doubted.against(*exposure, shot.number)
        if shot.outcome is None or not shot.outcome.made:
            latest[exposure] = LACKS[shot.outcome]
        elif doubt is not None:
            latest[exposure] = LACKS[doubt.why]
        else:
            (confirmed if shot.outcome is ShotOutcome.CONFIRMED else assumed).add(exposure)
    confirmed, assumed = confirmed & wanted, (assumed - confirmed) & wanted
    missing = {one: latest.get(one, Lack.NOT_TRIED) for one in sorted(wanted - confirmed - assumed)}
    if under_way:
        standing = SetStanding.UNDER_WAY
    elif losses:
        standing = SetStanding.DAMAGED
    elif missing:
        standing = SetStanding.INCOMPLETE if shots else SetStanding.NOT_BEGUN
    elif any(has_switch(plan.kit.head, axis) for axis in unchecked):
        standing = SetStanding.UNCHECKED
    else:
        standing = SetStanding.ASSUMED if assumed else SetStanding.COMPLETE
    return Verdict(
        standing,
        frozenset(confirmed),
        frozenset(assumed),
        missing,
        frozenset(doubted.latest.keys() & (confirmed | assumed)),
        sum(shot.outcome is not None and shot.outcome.made for shot in shots),
        tuple(unchecked),
        tuple(losses),
    )


def has_switch(head: Head, axis: str) -> bool:
    """Whether a switch finds the zero of this axis (pan or tilt)."""
    return (head.pan if axis == "pan" else head.tilt).zero_switch
