"""A plan and its proof in sentences."""

from collections.abc import Mapping, Sequence
from pathlib import Path

from controller.amounts import counted, degrees, duration, storage
from controller.kit.exposing import kit_sentences
from controller.planning.order import Order
from controller.planning.plan import Plan
from controller.planning.sun_caution import may_face_sun, sun_seconds
from controller.report.ramp_words import saving_sentences

SUN_HARMS = "Nobody may look through the viewfinder then. The sun harms eyes, and can damage lens, shutter and sensor."
ORDER_WORDS = {Order.QUICKEST: "Quickest order", Order.ROWS: "By rows", Order.COLUMNS: "By columns"}


def proof_sentence(plan: Plan) -> str:
    """The proof in sentences."""
    proof = plan.proof
    what = region_words(plan)
    place = direction_words(proof.worst_at.yaw_deg, proof.worst_at.pitch_deg)
    if proof.covered:
        return (
            f"Every direction of {what} is in the core of some frame. So nothing is missing, and neighbours share at "
            f"least the requested overlap. The tightest place is {place}, with "
            f"{max(proof.worst_margin_deg, 0.0):.3f}° to spare."
        )
    away = f"{-proof.worst_margin_deg:.3f}°"
    return f"{what.capitalize()} is not covered: the largest gap is at {place}, {away} from any core."


def region_words(plan: Plan) -> str:
    """What the plan covers, after "all of"."""
    return "the sphere" if plan.region.solid_angle_is_whole else "the region"


def direction_words(yaw_deg: float, pitch_deg: float) -> str:
    """A direction for people."""
    return f"yaw {degrees(yaw_deg)}, pitch {degrees(pitch_deg)}"


def measured_sentence(plan: Plan) -> str:
    """The calibrated properties of the head, in one sentence; empty if there are none."""
    parts = []
    for name, axis in (("pan", plan.kit.head.pan), ("tilt", plan.kit.head.tilt)):
        if axis.measured_steps_per_degree is not None:
            parts.append(f"{axis.measured_steps_per_degree:.3f} steps per degree of {name}")
    if plan.kit.head.lean_deg:
        parts.append(f"a lean of {plan.kit.head.lean_deg:.2f}° toward yaw {degrees(plan.kit.head.lean_toward_deg)}")
    return f"By calibration: {', '.join(parts)}." if parts else ""


def reach_text(plan: Plan) -> str:
    """The part of the region that the plan covers."""
    region = plan.region
    text = f"it covers pitches {degrees(region.pitch_from_deg)} to {degrees(region.pitch_to_deg)}"
    if region.yaw_width_deg < 360:
        text += f" and {degrees(region.yaw_width_deg)} of yaw"
    return text


def left_out_sentence(plan: Plan) -> str:
    """The part that the head cannot reach, in one sentence; empty if it reaches everything."""
    if plan.region.unreachable_sr <= 0:
        return ""
    return f"Out of reach and left out: {plan.region.unreachable_sr:.3f} steradians ({reach_text(plan)})."


def plan_text(plan: Plan, compared: Mapping[str, tuple[int, float]], calibration: Sequence[str], out: Path) -> str:
    """The text for the photographer about a plan that was written to `out`; see `plan_sentences`."""
    return "\n".join([*plan_sentences(plan, compared, calibration), f"The plan is in {out}"])


def plan_sentences(plan: Plan, compared: Mapping[str, tuple[int, float]], calibration: Sequence[str]) -> list[str]:
    """The sentences for the photographer about a plan.

    `compared` has frames and seconds of each way to mount the camera, `calibration` a sentence for each record.
    """
    rows = max(frame.row for frame in plan.frames) + 1
    budget, region, proof = plan.budget, plan.region, plan.proof
    lines = [
        f"{counted(len(plan.first_pass), 'frame')} in {counted(rows, 'row')}, {counted(budget.exposures, 'exposure')}, "
        f"about {duration(budget.seconds)} (mostly {budget.dominated_by}), {storage(budget.megabytes)}, "
        f"{budget.watt_hours:.1f} Wh. The picture becomes {budget.picture_pixels_wide} x "
        f"{budget.picture_pixels_high} pixels.",
        *pass_sentences(plan),
        proof_sentence(plan),
    ]
    if proof.worst_margin_deg < proof.pointing_error_deg:
        lines.append(
            f"The plan survives {proof.worst_margin_deg:.2f}° of pointing error, but this head may be off by "
            f"{proof.pointing_error_deg:.2f}°, so neighbours may share a little less than requested. Add one or two per "
            "cent more overlap if that matters."
        )
    else:
        lines.append(
            f"The plan survives {proof.worst_margin_deg:.2f}° of pointing error; this head needs "
            f"{proof.pointing_error_deg:.2f}°."
        )
    if region.kind == "single-row":
        lines.append(f"The row gives a picture from {degrees(region.pitch_from_deg)} to {degrees(region.pitch_to_deg)}.")
    if region.unreachable_sr > 0:
        lines.append(left_out_sentence(plan))
    lines += _link_lines(plan) + _order_lines(plan) + saving_sentences(plan) + kit_sentences(plan.kit) + _sun_lines(plan)
    for way, (frames, seconds) in compared.items():
        lines.append(f"{way}: {frames} frames, {duration(seconds)}")
    return [*lines, *(f"Calibration of {sentence}" for sentence in calibration)]


def pass_sentences(plan: Plan) -> list[str]:
    """How often which frames are shot, and how soon again; empty if there is one pass."""
    apart_s, poses = plan.budget.repeats_apart_seconds, len(plan.first_pass)
    if apart_s is None:
        return []
    again = len({frame.repeats for frame in plan.frames} - {None})
    often = "twice" if plan.passes == 2 else f"{plan.passes} times"
    which = f"all of them {often}" if again == poses else f"{again} of them {often}"
    return [
        f"{plan.passes} passes: {counted(poses, 'frame')}, {which}. The same frame is shot again after "
        f"{duration(apart_s)} or more."
    ]


def _link_lines(plan: Plan) -> list[str]:
    links = plan.links
    if len(plan.first_pass) == 1:
        return []
    if not links.connected:
        return ["The frames do not all share enough picture to be matched: more overlap is needed."]
    text = f"The frames are joined by overlaps of at least {100 * links.weakest_share:.0f} % of a picture"
    if links.frames_that_split:
        return [f"{text}. Losing one of frames {', '.join(map(str, links.frames_that_split))} would split the set."]
    return [f"{text}, even if any one frame fails."]


def _order_lines(plan: Plan) -> list[str]:
    lines = []
    for order, cost in sorted(plan.budget.orders.items()):
        gap = f"; longest gap between overlapping frames {duration(cost.neighbours_apart_seconds)}"
        chosen = " This is the plan's order." if order is plan.order else ""
        lines.append(f"{ORDER_WORDS[order]}: {duration(cost.seconds)}{gap if len(plan.first_pass) > 1 else ''}.{chosen}")
    return lines


def _sun_lines(plan: Plan) -> list[str]:
    sun = plan.sun
    if sun is None:
        return [f"If the sun is up, frames may face it. {SUN_HARMS}"] if may_face_sun(plan) else []
    moved = abs((sun.azimuth_deg[1] - sun.azimuth_deg[0] + 180) % 360 - 180)
    place = f"The sun is at azimuth {degrees(sun.azimuth_deg[0])}, altitude {degrees(sun.altitude_deg[0])}"
    seen = f"frames {', '.join(map(str, sun.frames))} see it" if sun.frames else "no frame sees it"
    lines = [f"{place}. It moves by {degrees(moved)} in azimuth during the run, and {seen}."]
    when = sun_seconds(plan)
    if when is not None:
        first, last = map(duration, when)
        times = f"{first} after the run begins" if first == last else f"from {first} to {last} after the run begins"
        lines.append(f"Frames that see the sun are shot {times}. {SUN_HARMS}")
    return lines
