"""The exposures that a session records, to pair files with."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise
from pathlib import Path

from controller.errors import InputError
from controller.matching.table import MatchedPose, Planned
from controller.planning.plan import Plan
from controller.planning.plan_file import plan_from
from controller.session.clock import SessionClock
from controller.session.exposure_lines import exposure_lines
from controller.session.rows import ShotOutcome
from controller.session.session import Session
from protocol.units import NS

FARTHEST_S, PAUSE_S = 12 * 3600.0, 60.0
"""The longest pause between two pieces that is believed of an unsure clock, and the one that is supposed otherwise."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """The plan of a session, and its exposures in order of time.

    `dated`: their times are times of day that can be believed. `pieces` gives exposures whose times share one clock the
    same number; between two pieces the time is known roughly if `unsure`. `losses` has a phrase for each part of a
    damaged session that cannot be read.
    """

    plan: Plan
    exposures: list[Planned]
    dated: bool
    losses: tuple[str, ...] = ()
    unsure: bool = False
    pieces: tuple[int, ...] = ()


def recorded_in(path: Path) -> Recorded:
    """The contents of the session at `path`. Raises InputError if it has no exposures."""
    with Session.open(path) as session:
        runs, shots, doubts, losses = session.runs(), session.shots(), session.doubts(), session.losses
        clocks = session.clocks()
        plan = plan_from(session.plan_text(), str(path), begun=True)
    if not shots:
        raise InputError(f"{path}: has no exposures, so there is nothing to pair.")
    exposure = plan.kit.exposure
    clock = SessionClock(runs, exposure.focus_ms + exposure.release_lag_ms, clocks)
    planned, pieces = [], []
    for shot, line in zip(shots, exposure_lines(plan, shots, doubts, clock), strict=True):
        opened = shot.intended_ns / NS if line.opened_utc is None else datetime.fromisoformat(line.opened_utc).timestamp()
        pieces.append(clock.piece(shot.number) or 0)
        made, confirmed = shot.outcome is not None and shot.outcome.made, shot.outcome is ShotOutcome.CONFIRMED
        planned.append(
            Planned(
                line.frame, line.exposure, line.attempt, line.outcome, opened, line.shutter_s,
                made, confirmed, line.outcome in {"confirmed", "assumed"},
                MatchedPose(line.yaw_deg, line.pitch_deg, line.roll_deg, line.pan_deg, line.tilt_deg),
                line.pass_number, line.repeats,
            )
        )  # fmt: skip
    if clock.is_unsure:
        later_s = seconds_later(
            [one.opened_s for one in planned], pieces, [piece.sure is not False for piece in clock.pieces]
        )
        planned = [replace(one, opened_s=one.opened_s + add) for one, add in zip(planned, later_s, strict=True)]
    order = sorted(range(len(planned)), key=lambda place: planned[place].opened_s)
    return Recorded(
        plan, [planned[place] for place in order], clock.is_set and not clock.is_unsure, losses, clock.is_unsure,
        tuple(pieces[place] for place in order),
    )  # fmt: skip


def seconds_later(opened_s: Sequence[float], pieces: Sequence[int], sure: Sequence[bool]) -> list[float]:
    """What to add to each time, so that pieces whose clock was unsure follow one another in the order of shooting.

    `opened_s` and `pieces` are in that order; `sure` is by piece. A piece keeps its times if they are in order and near
    the pieces beside it. Otherwise it is placed beside one, since the pause between two is rarely long.
    """
    spans: dict[int, tuple[float, float]] = {}
    for at_s, piece in zip(opened_s, pieces, strict=True):
        first, last = spans.get(piece, (at_s, at_s))
        spans[piece] = min(first, at_s), max(last, at_s)
    add = dict.fromkeys(spans, 0.0)
    present = sorted(spans)
    # Before a piece that is sure: the end of each unsure one is just before it. After that: just behind the one before.
    for piece, after in reversed(list(pairwise(present))):
        gap_s = spans[after][0] + add[after] - spans[piece][1]
        if not sure[piece] and any(sure[one] for one in present if one >= after) and not 0 <= gap_s <= FARTHEST_S:
            add[piece] = gap_s - PAUSE_S
    for before, piece in pairwise(present):
        gap_s = spans[piece][0] + add[piece] - spans[before][1] - add[before]
        if not sure[piece] and not 0 <= gap_s <= FARTHEST_S:
            add[piece] += PAUSE_S - gap_s
    return [add[piece] for piece in pieces]
