"""Numbers as people read them."""

from controller.planning.plan import Plan
from controller.sizes import size_text


def duration(seconds: float) -> str:
    """Seconds as h:mm:ss, or m:ss under an hour."""
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    minutes, rest = divmod(rest, 60)
    return f"{hours}:{minutes:02}:{rest:02}" if hours else f"{minutes}:{rest:02}"


def moment(seconds: float) -> str:
    """A time within a run as h:mm:ss.s or m:ss.s, to a tenth of a second."""
    tenths = round(seconds * 10)
    return f"{duration(tenths // 10)}.{tenths % 10}"


def counted(number: int, thing: str) -> str:
    """A number of things: 1 frame, 2 frames."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def storage(megabytes: float) -> str:
    """Megabytes in a suitable unit."""
    return size_text(megabytes * 1e6)


def degrees(value: float) -> str:
    """A direction's angle to a tenth of a degree, without minus zero."""
    return f"{round(value, 1) + 0.0:.1f}°"


def proof_sentence(plan: Plan) -> str:
    """The proof in one sentence."""
    proof = plan.proof
    what = region_words(plan)
    place = direction_words(proof.worst_at.yaw_deg, proof.worst_at.pitch_deg)
    if proof.covered:
        return (
            f"Every direction of {what} is in the core of some frame, so nothing is missing and neighbours "
            f"share at least the requested overlap; the tightest place is {place}, with "
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
    """The part that the head cannot reach, in one sentence; empty if it reaches all."""
    if plan.region.unreachable_sr <= 0:
        return ""
    return f"Out of reach and left out: {plan.region.unreachable_sr:.3f} steradians ({reach_text(plan)})."
