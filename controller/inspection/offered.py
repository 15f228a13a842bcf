"""What a set of photographs measured, as findings that can become calibration records. Nothing is applied here."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from controller.amounts import counted
from controller.calibration.finding import Finding, record_of
from controller.calibration.interval_words import plus_minus
from controller.calibration.known_lens import lens_name
from controller.calibration.parallax import FARTHEST_OFFSET_MM
from controller.calibration.readings import ReadingsRefused
from controller.calibration.records import NEEDED, AxisName, CalibrationKind, Record, axis_of
from controller.calibration.steps import must_fit_gearing
from controller.inspection.head_measured import COVERAGE, HeadMeasured, Measured, Unmeasured
from controller.inspection.poses import HeadFrame
from controller.kit.kit import Kit

HOW = "photographs of a whole set, adjusted together"


@dataclass(frozen=True, slots=True)
class Offered:
    """The findings that a set carries, and a sentence for each quantity that it does not."""

    findings: tuple[Finding, ...]
    left_out: tuple[str, ...]

    def records(self, kit: Kit, made_at: str, with_what: str = "") -> list[Record]:
        """The records of the findings, not stored yet; `made_at` as ISO 8601 with its offset."""
        return [record_of(finding, kit, with_what, made_at) for finding in self.findings]


def offered(kit: Kit, frames: Sequence[HeadFrame], head: HeadMeasured, pupil_ahead_mm: Measured | None = None) -> Offered:
    """What to offer as records of `kit`. `frames` are the linked ones; `head` was measured from them.

    `pupil_ahead_mm` is the entrance pupil's place ahead of the axis, if it was measured.
    """
    findings, left_out = [], []
    for axis in AxisName:
        angles = [frame.pan_deg if axis is AxisName.PAN else frame.tilt_deg for frame in frames]
        steps = head.pan_steps_per_degree if axis is AxisName.PAN else head.tilt_steps_per_degree
        play = head.pan_play_deg if axis is AxisName.PAN else head.tilt_play_deg
        for made in (_steps(kit, axis, steps, angles), _play(axis, play, len(angles))):
            if isinstance(made, Finding):
                findings.append(made)
            else:
                left_out.append(made)
    if isinstance(head.lean_deg, Unmeasured):
        left_out.append(f"Lean of the head: {head.lean_deg}.")
    if pupil_ahead_mm is not None:
        made = _pupil(kit, pupil_ahead_mm)
        if isinstance(made, Finding):
            findings.append(made)
        else:
            left_out.append(made)
    return Offered(tuple(findings), tuple(left_out))


def _steps(kit: Kit, axis: AxisName, found: Measured | Unmeasured, angles_deg: Sequence[float]) -> Finding | str:
    if isinstance(found, Unmeasured):
        return f"Steps per degree of {axis.value}: {found}."
    own = axis_of(kit, axis)
    assert own is not None
    try:
        must_fit_gearing(f"Steps per degree of {axis.value}", found.value, own.nominal_steps_per_degree)
    except ReadingsRefused as refused:
        return str(refused)
    span = max(angles_deg) - min(angles_deg)
    said = (
        f"{plus_minus(found.value, found.sd, math.inf)} steps per degree of {axis.value} (95 %), "
        f"{100 * (found.value / own.nominal_steps_per_degree - 1):+.3f} % off the kit's gearing."
    )
    return Finding(
        kind=CalibrationKind.STEPS,
        axis=axis,
        values={"steps_per_degree": found.value},
        uncertainties={"u_steps_per_degree": found.sd},
        degrees_of_freedom=None,
        how=f"{HOW} ({counted(len(angles_deg), 'frame')} over {span:.0f}°)",
        sentences=(said,),
        more={"axis": axis.value},
    )


def _play(axis: AxisName, found: Measured | Unmeasured, frames: int) -> Finding | str:
    if isinstance(found, Unmeasured):
        return f"Play of {axis.value}: {found}."
    said = plus_minus(found.value, found.sd, math.inf)
    shows = abs(found.value) > COVERAGE * found.sd
    if shows and found.value < 0:
        return (
            f"Play of {axis.value}: {said}° (95 %) is negative, so the sides from which frames were approached are not "
            "those in the session. Measure it with `fullturn calibrate backlash`."
        )
    most = NEEDED[CalibrationKind.BACKLASH]["play_deg"].most
    if found.value > most:
        return f"Play of {axis.value}: {said}° (95 %) is more than {most:g}°. Look for a loose screw or a broken gear."
    sentence = (
        f"Play of the {axis.value} axis: {said}° on average (95 %)."
        if shows
        else f"No play of the {axis.value} axis shows: {said}° (95 %)."
    )
    return Finding(
        kind=CalibrationKind.BACKLASH,
        axis=axis,
        values={"play_deg": found.value if shows else 0.0, "mean_reversal_deg": found.value},
        uncertainties={"u_mean_reversal_deg": found.sd},
        degrees_of_freedom=None,
        how=f"{HOW} ({counted(frames, 'frame')}, approached from both sides)",
        sentences=(sentence,),
        more={"axis": axis.value},
    )


def _pupil(kit: Kit, ahead_mm: Measured) -> Finding | str:
    said = f"{plus_minus(abs(ahead_mm.value), ahead_mm.sd, math.inf)} mm"
    side, slide = ("ahead of", "back") if ahead_mm.value >= 0 else ("behind", "forward")
    if abs(ahead_mm.value) > FARTHEST_OFFSET_MM:
        return f"No-parallax point: {said} {side} the axis is more than any rail allows; check the distance given."
    where = f"The no-parallax point is {said} {side} the pan axis (95 %)"
    shows = abs(ahead_mm.value) > COVERAGE * ahead_mm.sd
    what_to_do = f": slide the camera {slide} by {abs(ahead_mm.value):.1f} mm." if shows else ": leave it."
    return Finding(
        kind=CalibrationKind.PARALLAX,
        axis=None,
        values={"offset_mm": ahead_mm.value},
        uncertainties={"u_offset_mm": ahead_mm.sd},
        degrees_of_freedom=None,
        how=HOW,
        sentences=(where + what_to_do,),
        more={"slide": slide},
        lens=lens_name(kit),
        focal_length_mm=kit.lens.focal_length_mm,
    )
