"""The verdict on a set, from its rows alone. Every headline and every exit status comes from here.

How the last run ended describes only that run: since then, frames may have been requested again, or shot.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from controller.kit.kit import Head
from controller.planning.passes import repeats_among
from controller.planning.plan import Plan
from controller.program.program import Exposure
from controller.session.rows import DoubtReason, DoubtRow, Doubts, ShotOutcome, ShotRow


class SetStanding(StrEnum):
    """The state of a set. Only the first two need nothing more."""

    COMPLETE = "complete"
    """Every planned exposure is confirmed."""
    ASSUMED = "assumed"
    """None is missing as far as can be known, but some are not confirmed."""
    UNCHECKED = "unchecked"
    """None is missing, but a switch was not passed again since the last exposures."""
    INCOMPLETE = "incomplete"
    NOT_BEGUN = "not begun"
    DAMAGED = "damaged"
    """A part of the session cannot be read, so its content is unknown."""
    UNDER_WAY = "under way"
    """A run is using it now."""


class Lack(StrEnum):
    """Why an exposure is missing."""

    NOT_TRIED = "not tried"
    UNCONFIRMED = "unconfirmed"
    """The camera did not answer."""
    IN_DOUBT = "in doubt"
    """Its end was never reported."""
    SUSPECT = "suspect"
    """It was shot while the head may have pointed elsewhere."""
    RETAKE = "retake"
    """It was shot, and is requested again."""


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

    `retaken` were reshot after a doubt. `openings` counts every exposure made, including those that no longer count.
    `unchecked` names axes whose zero was not checked after the last exposures. `missing_repeats` are missing frames whose
    pose was completed in another pass, so that they leave no hole.
    """

    standing: SetStanding
    confirmed: frozenset[Exposure]
    assumed: frozenset[Exposure]
    missing: Mapping[Exposure, Lack]
    retaken: frozenset[Exposure]
    openings: int
    unchecked: tuple[str, ...] = ()
    losses: tuple[str, ...] = ()
    missing_repeats: tuple[int, ...] = ()

    @property
    def planned(self) -> int:
        """The number of exposures in the plan."""
        return len(self.confirmed) + len(self.assumed) + len(self.missing)

    @property
    def exit_status(self) -> int:
        """0 if nothing is left to do, 1 otherwise. An assumed set is not a failure."""
        return 0 if self.standing in {SetStanding.COMPLETE, SetStanding.ASSUMED} else 1

    @property
    def missing_frames(self) -> tuple[int, ...]:
        """The frames that lack an exposure."""
        return tuple(sorted({frame for frame, _ in self.missing}))

    def lacking(self, why: Lack) -> int:
        """The number of exposures missing for this reason."""
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
    """Compare `shots` with `plan`, without the exposures that the `doubts` exclude.

    `unchecked` are axes (pan, tilt) whose zero was not checked after the last exposures. `under_way`: a run is using the
    session now. `losses` say what cannot be read in a damaged session. An exposure is confirmed if any row that is not
    doubted says so.
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
        repeats_among(plan, {frame for frame, _ in missing}),
    )


def has_switch(head: Head, axis: str) -> bool:
    """Whether the kit has a switch at zero for this axis (pan or tilt)."""
    return (head.pan if axis == "pan" else head.tilt).zero_switch
