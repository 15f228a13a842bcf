"""The account of a set: the plan compared with the session, as numbers."""

from collections.abc import Sequence

from pydantic import BaseModel, ConfigDict

from controller.planning.plan import Plan, lean_sentence
from controller.report.account_words import headline
from controller.report.camera_numbers import CameraNumbers, camera_numbers
from controller.report.shot_proof import prove_shot
from controller.report.verdict import Lack, SetStanding, Verdict, verdict
from controller.session.checks import unchecked_axes
from controller.session.clock import clock_is_unsure
from controller.session.rows import BOARD_SHAPES, NO, YES, DoubtRow, Doubts, RunRow, ShotRow, with_requests
from controller.session.session import Session
from protocol.units import NS

UNDER_WAY = "The run is under way."
NO_END = "The run did not come to its end."


class Summary(BaseModel):
    """The numbers of report.json. Counts are exposures unless the name says frames.

    `headline` and `verdict` follow from the session as it is now. `sentence` only says how the last run ended.
    `exit_status` is that of `fullturn report`: 0 if complete or assumed. The verdicts:

    - `complete`: every planned exposure is confirmed
    - `assumed`: none is missing, but some are not confirmed
    - `unchecked`: none is missing, but the switch of an axis in `unchecked_axes` was not passed again since
    - `damaged`: a part of the session cannot be read; `losses` say which
    - `incomplete`, `not begun`, or `under way` while a run is using the session

    Each planned exposure counts once. It is confirmed by the camera's sync contact or by its file over USB. Or it is
    assumed, because nothing can confirm it. Or it is missing, for one of these reasons:

    - unconfirmed: the camera did not answer
    - in doubt: its end was never reported
    - suspect: it was shot while the head may have pointed elsewhere
    - to retake: it was shot, and requested again
    - not tried

    `exposures_retaken` were reshot after such a doubt. `missing_frames` lack an exposure. `missing_repeats` are those
    among them whose pose was completed in another pass, so they are no holes.

    `covered`, `linked` and the worst place are the plan's proof for the complete frames alone, each pose once, at the
    poses that the head reaches. A negative margin is the middle of the largest gap. `card_megabytes` is the estimated
    size of every exposure made, including those that no longer count. `ramps_shaped` says whether the board of the last
    run shapes its ramps. It is null if that was not noted. `clock_unsure`: the computer's time of day could not be
    believed, so that times of exposures may be wrong; only their differences are right. `camera` is what others need to
    place the pictures.
    """

    model_config = ConfigDict(frozen=True, allow_inf_nan=False)

    kind: str
    plan_hash: str
    seed: int | None
    verdict: SetStanding
    headline: str
    exit_status: int
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
    exposures_to_retake: int = 0
    exposures_not_tried: int = 0
    exposures_retaken: int = 0
    missing_frames: tuple[int, ...]
    missing_repeats: tuple[int, ...] = ()
    unchecked_axes: tuple[str, ...] = ()
    losses: tuple[str, ...] = ()
    covered: bool
    linked: bool
    worst_margin_deg: float | None
    worst_yaw_deg: float | None
    worst_pitch_deg: float | None
    card_megabytes: float
    virtual_seconds: float
    predicted_seconds: float
    ramps_shaped: bool | None = None
    clock_unsure: bool = False
    camera: CameraNumbers


def account_of(session: Session, plan: Plan, *, seconds: float | None = None, under_way: bool = False) -> Summary:
    """The account of a session as it is now. `seconds` is the run's duration; by default it comes from the rows.

    Raises StorageFailed.
    """
    about, runs, shots, stored = session.about(), session.runs(), session.shots(), session.doubts()
    doubts = with_requests(stored, shots, session.wanted_again())
    by_hand = {frame.id for frame in plan.frames if frame.by_hand}
    said = runs[-1].sentence if runs else None
    return summarise(
        plan,
        shots,
        doubts,
        kind=about.get("kind", "run"),
        seed=int(about["seed"]) if about.get("seed", "").isdecimal() else None,
        sentence=UNDER_WAY if under_way else said or NO_END,
        seconds=_run_seconds(shots, runs) if seconds is None else seconds,
        unchecked=unchecked_axes(plan.kit, Doubts.of(stored).counting(shots), session.checks(), by_hand),
        under_way=under_way,
        losses=session.losses,
        ramps_shaped={YES: True, NO: False}.get(about.get(BOARD_SHAPES, "")),
        clock_unsure=clock_is_unsure(session.clocks(), runs),
    )


def summarise(
    plan: Plan,
    shots: Sequence[ShotRow],
    doubts: Sequence[DoubtRow] = (),
    *,
    kind: str,
    seed: int | None,
    sentence: str,
    seconds: float,
    unchecked: Sequence[str] = (),
    under_way: bool = False,
    losses: Sequence[str] = (),
    ramps_shaped: bool | None = None,
    clock_unsure: bool = False,
) -> Summary:
    """Compare `shots` with `plan` (see `verdict`); `sentence` says how the last run ended."""
    found = verdict(plan, shots, doubts, unchecked=unchecked, under_way=under_way, losses=losses)
    proof = prove_shot(plan, set(found.missing_frames))
    return Summary(
        kind=kind,
        plan_hash=plan.hash,
        seed=seed,
        verdict=found.standing,
        headline=headline(found, plan.kit) + _less_overlap(plan, found),
        exit_status=found.exit_status,
        complete=found.standing is SetStanding.COMPLETE,
        sentence=sentence,
        frames_planned=len(plan.frames),
        missing_frames=found.missing_frames,
        missing_repeats=found.missing_repeats,
        unchecked_axes=found.unchecked,
        losses=found.losses,
        covered=proof.covered,
        linked=proof.linked,
        worst_margin_deg=proof.worst_margin_deg,
        worst_yaw_deg=proof.worst_yaw_deg,
        worst_pitch_deg=proof.worst_pitch_deg,
        card_megabytes=round(found.openings * plan.kit.file_megabytes(), 1),
        virtual_seconds=round(seconds, 3),
        predicted_seconds=plan.budget.seconds,
        ramps_shaped=ramps_shaped,
        clock_unsure=clock_unsure,
        camera=camera_numbers(plan.kit),
        **_counts(found),
    )


def _less_overlap(plan: Plan, found: Verdict) -> str:
    """What falls short in a complete set whose plan an older version proved for a level head."""
    if plan.proof.covered or not plan.kit.head.lean_deg or found.exit_status != 0:
        return ""
    return f" But {lean_sentence(plan)}."


def _counts(found: Verdict) -> dict[str, int]:
    """The number of exposures of each kind."""
    return {
        "exposures_planned": found.planned,
        "exposures_made": len(found.confirmed) + len(found.assumed),
        "exposures_confirmed": len(found.confirmed),
        "exposures_assumed": len(found.assumed),
        "exposures_unconfirmed": found.lacking(Lack.UNCONFIRMED),
        "exposures_in_doubt": found.lacking(Lack.IN_DOUBT),
        "exposures_suspect": found.lacking(Lack.SUSPECT),
        "exposures_to_retake": found.lacking(Lack.RETAKE),
        "exposures_not_tried": found.lacking(Lack.NOT_TRIED),
        "exposures_retaken": len(found.retaken),
    }


def _run_seconds(shots: Sequence[ShotRow], rows: Sequence[RunRow]) -> float:
    """From the first exposure of each run to the end of its last, all runs together.

    The clocks of two runs are unrelated: the computer may have restarted in between.
    """
    firsts = [row.first for row in rows]
    runs: dict[int, list[int]] = {}
    for shot in shots:
        run = runs.setdefault(max((first for first in firsts if first <= shot.number), default=0), [])
        run.append(shot.intended_ns)
        if shot.ended_ns is not None:
            run.append(shot.ended_ns)
    return sum(max(run) - min(run) for run in runs.values()) / NS
