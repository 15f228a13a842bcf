"""Each intended exposure: how it ended, where the camera pointed, and when the shutter opened."""

from collections.abc import Sequence
from dataclasses import astuple, dataclass, fields
from datetime import datetime, timedelta

from controller.csv_text import csv_text
from controller.planning.plan import Plan
from controller.session.rows import DoubtRow, Doubts, RunRow, ShotRow
from controller.session.shot_poses import shot_pose


@dataclass(frozen=True, slots=True)
class ExposureLine:
    """One intended exposure: which one, how it ended, the pose, and when the shutter opened.

    `outcome` is confirmed or assumed if it counts; suspect or retake if it was made but does not count; otherwise
    unconfirmed, interrupted or in doubt. Yaw, pitch and roll are the camera's in the levelled world, as really reached.
    Pan and tilt are the angles of the axes, None by hand. All are in degrees. `pose_from` says how they were determined
    (`PoseFrom`). `opened_utc` is when the camera opened, by the host's clock and the kit's release lag; None if no time
    of day is known. `pass_number` is the pass in which the frame is shot, `repeats` the frame of the first pass that has
    the same pose, None in the first pass.
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
    pass_number: int = 1
    repeats: int | None = None


COLUMNS = tuple(field.name for field in fields(ExposureLine))
COLUMNS_WITHOUT_PASSES = COLUMNS[:-2]
"""Those of versions that knew no passes."""


class Clock:
    """Converts the monotonic clock of each run in a session to the time of day."""

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
        """When the shutter opened, in UTC; None if unknown."""
        for first, then_ns, utc in self._set:
            if shot.number >= first:
                since = timedelta(microseconds=(shot.intended_ns - then_ns) / 1000)
                return (utc + since + self._lag).isoformat(timespec="milliseconds")
        return None


def exposure_lines(plan: Plan, shots: Sequence[ShotRow], doubts: Sequence[DoubtRow], clock: Clock) -> list[ExposureLine]:
    """One line for each intent, in order."""
    doubted = Doubts.of(doubts)
    frames = {frame.id: frame for frame in plan.frames}
    lines = []
    for shot in shots:
        intent = shot.intent
        doubt = doubted.against(intent.frame, intent.exposure, shot.number)
        outcome = "in doubt" if shot.outcome is None else shot.outcome.value
        if doubt is not None and shot.outcome is not None and shot.outcome.made:
            outcome = doubt.why.value
        frame = frames.get(intent.frame)
        pose = shot_pose(plan.kit.head, frame, shot)
        lines.append(
            ExposureLine(
                shot.number, intent.frame, intent.exposure, intent.attempt, outcome,
                pose.yaw_deg, pose.pitch_deg, pose.roll_deg, pose.pan_deg, pose.tilt_deg, pose.source.value,
                intent.shutter_s, clock.opened(shot),
                shot.intended_ns, shot.ended_ns,
                1 if frame is None else frame.pass_number, None if frame is None else frame.repeats,
            )
        )  # fmt: skip
    return lines


def exposures_csv(lines: Sequence[ExposureLine]) -> str:
    """The lines as CSV; unknown values are empty."""
    return csv_text(COLUMNS, (astuple(line) for line in lines))
