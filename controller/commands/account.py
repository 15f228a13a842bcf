"""`fullturn report`: a session audited, for people and for other programs."""

import json
from collections.abc import Sequence
from dataclasses import asdict, astuple, dataclass, fields
from datetime import datetime, timedelta
from pathlib import Path

from controller.csv_text import csv_text
from controller.errors import StorageFailed
from controller.files import write_new
from controller.folders import appearing_folder
from controller.lock import in_use
from controller.places import must_be_free_folder
from controller.planning.plan import Plan
from controller.planning.plan_file import plan_from
from controller.report.html import write_html
from controller.report.own_pages import is_own_account, is_own_page, is_own_table
from controller.report.shot_poses import shot_pose
from controller.report.summary import Summary, account_of
from controller.session.rows import DoubtRow, Doubts, RunRow, ShotRow, with_requests
from controller.session.session import Session


@dataclass(frozen=True, slots=True)
class ExposureLine:
    """One exposure that was intended: which, how it ended, the pose, and when the shutter opened.

    `outcome` is confirmed or assumed where it counts; suspect or retake where it was made and does not count;
    unconfirmed, interrupted or in doubt else. Yaw, pitch and roll are the camera's in the levelled world, as truly
    reached; pan and tilt are the angles of the axes, None by hand; all in degrees. `pose_from` says what they were worked
    out from (`PoseFrom`). `opened_utc` is the camera's opening by the host's clock and the kit's release lag, None where
    no time of day is known.
    """

    number: int
    frame: int
    exposure: int
    attempt: int
    outcome: str
    yaw_deg: float
    pitch_deg: float
    roll_deg: float
    pan_deg: float | None
    tilt_deg: float | None
    pose_from: str
    shutter_s: float
    opened_utc: str | None
    intended_ns: int
    ended_ns: int | None


class Clock:
    """From the monotonic clock of each run in a session to the time of day."""

    def __init__(self, runs: Sequence[RunRow], lag_ms: float) -> None:
        self._lag = timedelta(milliseconds=lag_ms)
        self._set = [
            (run.first, run.began.at_ns, datetime.fromisoformat(run.began.utc)) for run in reversed(runs) if run.began
        ]

    @property
    def is_set(self) -> bool:
        """Whether any time of day is known."""
        return bool(self._set)

    def opened(self, shot: ShotRow) -> str | None:
        """When the shutter opened, in UTC."""
        for first, then_ns, utc in self._set:
            if shot.number >= first:
                since = timedelta(microseconds=(shot.intended_ns - then_ns) / 1000)
                return (utc + since + self._lag).isoformat(timespec="milliseconds")
        return None


COLUMNS = tuple(field.name for field in fields(ExposureLine))
OURS = {
    "exposures.csv": lambda path: is_own_table(path, COLUMNS),
    "report.html": is_own_page,
    "report.json": is_own_account,
    "exposures.json": lambda path: is_own_table(path, COLUMNS),
}
"""What a report writes, and how each of these files is recognised."""


def report_command(path: Path, out: Path | None, *, replace: bool = False) -> Summary:
    """The account of a session; with `out`, report.html, report.json, exposures.csv and exposures.json in a new folder.

    With `replace`, an older report in it gives way. Raises InputError, StorageFailed.
    """
    if out is not None:
        must_be_free_folder(out, replace=replace, ours=OURS)
    under_way = _is_run_now(path)
    with Session.open(path) as session:
        plan = plan_from(session.plan_text(), str(path), begun=True)
        with session.at_one_moment():
            summary = account_of(session, plan, under_way=under_way)
            shots, happenings, runs = session.shots(), session.happenings(), session.runs()
            doubts = with_requests(session.doubts(), shots, session.wanted_again())
    if out is not None:
        exposure = plan.kit.exposure
        lines = exposure_lines(plan, shots, doubts, Clock(runs, exposure.focus_ms + exposure.release_lag_ms))
        with appearing_folder(out, replace=replace, ours=OURS) as folder:
            write_new(folder / "report.json", summary.model_dump_json(indent=1) + "\n")
            write_new(folder / "exposures.csv", exposures_csv(lines))
            text = json.dumps([asdict(line) for line in lines], indent=1, allow_nan=False)
            write_new(folder / "exposures.json", text + "\n")
            write_html(folder / "report.html", plan, summary, happenings)
    return summary


def _is_run_now(path: Path) -> bool:
    """Whether a run works on the session; if that cannot be found out, what the session says is enough."""
    try:
        return in_use(path)
    except StorageFailed:
        return False


def exposure_lines(plan: Plan, shots: Sequence[ShotRow], doubts: Sequence[DoubtRow], clock: Clock) -> list[ExposureLine]:
    """One line for each intent in its order."""
    doubted = Doubts.of(doubts)
    frames = {frame.id: frame for frame in plan.frames}
    lines = []
    for shot in shots:
        intent = shot.intent
        doubt = doubted.against(intent.frame, intent.exposure, shot.number)
        outcome = "in doubt" if shot.outcome is None else shot.outcome.value
        if doubt is not None and shot.outcome is not None and shot.outcome.made:
            outcome = doubt.why.value
        pose = shot_pose(plan.kit.head, frames.get(intent.frame), shot)
        lines.append(
            ExposureLine(
                shot.number, intent.frame, intent.exposure, intent.attempt, outcome,
                pose.yaw_deg, pose.pitch_deg, pose.roll_deg, pose.pan_deg, pose.tilt_deg, pose.source.value,
                intent.shutter_s, clock.opened(shot),
                shot.intended_ns, shot.ended_ns,
            )
        )  # fmt: skip
    return lines


def exposures_csv(lines: Sequence[ExposureLine]) -> str:
    """The lines as CSV; what is not known is empty."""
    return csv_text(COLUMNS, (astuple(line) for line in lines))
