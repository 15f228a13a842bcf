"""The exposures that a session records, to pair files with."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from controller.errors import InputError
from controller.matching.table import MatchedPose, Planned
from controller.planning.plan import Plan
from controller.planning.plan_file import plan_from
from controller.session.exposure_lines import Clock, exposure_lines
from controller.session.rows import ShotOutcome
from controller.session.session import Session
from protocol.units import NS


@dataclass(frozen=True, slots=True)
class Recorded:
    """The plan of a session, and its exposures in order of time.

    `dated`: their times are times of day. `losses` has a phrase for each part of a damaged session that cannot be read.
    """

    plan: Plan
    exposures: list[Planned]
    dated: bool
    losses: tuple[str, ...] = ()


def recorded_in(path: Path) -> Recorded:
    """The contents of the session at `path`. Raises InputError if it has no exposures."""
    with Session.open(path) as session:
        runs, shots, doubts, losses = session.runs(), session.shots(), session.doubts(), session.losses
        plan = plan_from(session.plan_text(), str(path), begun=True)
    if not shots:
        raise InputError(f"{path}: has no exposures, so there is nothing to pair.")
    exposure = plan.kit.exposure
    clock = Clock(runs, exposure.focus_ms + exposure.release_lag_ms)
    planned = []
    for shot, line in zip(shots, exposure_lines(plan, shots, doubts, clock), strict=True):
        opened = shot.intended_ns / NS if line.opened_utc is None else datetime.fromisoformat(line.opened_utc).timestamp()
        made, confirmed = shot.outcome is not None and shot.outcome.made, shot.outcome is ShotOutcome.CONFIRMED
        planned.append(
            Planned(
                line.frame, line.exposure, line.attempt, line.outcome, opened, line.shutter_s,
                made, confirmed, line.outcome in {"confirmed", "assumed"},
                MatchedPose(line.yaw_deg, line.pitch_deg, line.roll_deg, line.pan_deg, line.tilt_deg),
                line.pass_number, line.repeats,
            )
        )  # fmt: skip
    return Recorded(plan, sorted(planned, key=lambda one: one.opened_s), clock.is_set, losses)
