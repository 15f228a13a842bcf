"""The account of a set: what was planned against what the session says, as numbers."""

from collections.abc import Sequence

from pydantic import BaseModel, ConfigDict

from controller.planning.plan import Plan
from controller.session.rows import DoubtReason, DoubtRow, Doubts, ShotOutcome, ShotRow


class Summary(BaseModel):
    """The numbers of report.json. Counts are exposures unless the name says frames.

    `exposures_made` is what the session may claim: confirmed by the camera's sync contact, or assumed because
    none is fitted. `missing_frames` lists frames with an exposure that is neither. `exposures_suspect` were made while
    the head may have pointed elsewhere and do not count until they are made again; `exposures_retaken` have been made
    again, because of such a doubt or because the operator wanted it.
    """

    model_config = ConfigDict(frozen=True)

    kind: str
    plan_hash: str
    seed: int | None
    complete: bool
    sentence: str
    frames_planned: int
    exposures_planned: int
    exposures_made: int
    exposures_confirmed: int
    exposures_assumed: int
    exposures_unconfirmed: int
    exposures_in_doubt: int
    exposures_suspect: int = 0
    exposures_retaken: int = 0
    missing_frames: tuple[int, ...]
    virtual_seconds: float
    predicted_seconds: float


def summarise(
    plan: Plan,
    shots: Sequence[ShotRow],
    doubts: Sequence[DoubtRow] = (),
    *,
    kind: str,
    seed: int | None,
    run_complete: bool,
    sentence: str,
    seconds: float,
) -> Summary:
    """Hold `shots` against `plan`. The set is complete when the run says so and no exposure is missing."""
    wanted = plan.exposures
    doubted = Doubts.of(doubts)

    def counts(shot: ShotRow) -> bool:
        return doubted.against(shot.intent.frame, shot.intent.exposure, shot.number) is None

    def ended(outcome: ShotOutcome) -> set[tuple[int, int]]:
        return wanted & {(s.intent.frame, s.intent.exposure) for s in shots if s.outcome is outcome and counts(s)}

    confirmed = ended(ShotOutcome.CONFIRMED)
    assumed = ended(ShotOutcome.ASSUMED) - confirmed
    missing = wanted - confirmed - assumed
    return Summary(
        kind=kind,
        plan_hash=plan.hash,
        seed=seed,
        complete=run_complete and not missing,
        sentence=sentence,
        frames_planned=len(plan.frames),
        exposures_planned=len(wanted),
        exposures_made=len(confirmed) + len(assumed),
        exposures_confirmed=len(confirmed),
        exposures_assumed=len(assumed),
        exposures_unconfirmed=sum(s.outcome is ShotOutcome.UNCONFIRMED for s in shots),
        exposures_in_doubt=sum(s.outcome in {None, ShotOutcome.INTERRUPTED} for s in shots),
        exposures_suspect=sum(doubted.latest[one].why is DoubtReason.SUSPECT for one in missing & doubted.latest.keys()),
        exposures_retaken=len(doubted.latest.keys() - missing),
        missing_frames=tuple(sorted({frame for frame, _ in missing})),
        virtual_seconds=round(seconds, 3),
        predicted_seconds=plan.budget.seconds,
    )
