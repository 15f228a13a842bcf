"""Each intended exposure: how it ended, where the camera pointed, and when the shutter opened."""

from collections.abc import Sequence
from dataclasses import astuple, dataclass, fields

from controller.csv_text import csv_text
from controller.planning.plan import Plan
from controller.session.clock import SessionClock
from controller.session.rows import DoubtRow, Doubts, ShotRow
from controller.session.shot_poses import shot_pose


@dataclass(frozen=True, slots=True)
class ExposureLine:
    """One intended exposure: which one, how it ended, the pose, and when the shutter opened.

    `outcome` is confirmed or assumed if it counts; suspect or retake if it was made but does not count; otherwise
    unconfirmed, interrupted or in doubt. Yaw, pitch and roll are the camera's in the levelled world, as really reached.
    Pan and tilt are the angles of the axes, None by hand. All are in degrees. `pose_from` says how they were determined
    (`PoseFrom`). `opened_utc` is when the camera opened, by the host's clock and the kit's release lag; None if no time
    of day is known. `pass_number` is the pass in which the frame is shot, `repeats` the frame of the first pass that has
    the same pose, None in the first pass. `clock` says whether `opened_utc` can be believed: sure or unsure; empty if the
    session does not know.
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
    clock: str = ""


COLUMNS = tuple(field.name for field in fields(ExposureLine))
EARLIER_COLUMNS = (COLUMNS[:-1], COLUMNS[:-3])
"""Those of versions that did not know about clocks, and of those that knew no passes either."""


def exposure_lines(
    plan: Plan, shots: Sequence[ShotRow], doubts: Sequence[DoubtRow], clock: SessionClock
) -> list[ExposureLine]:
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
                clock.words(shot.number),
            )
        )  # fmt: skip
    return lines


def exposures_csv(lines: Sequence[ExposureLine]) -> str:
    """The lines as CSV; unknown values are empty."""
    return csv_text(COLUMNS, (astuple(line) for line in lines))
