"""The lens and the head as a set measured them, in sentences and as values."""

import math
from collections.abc import Iterator
from typing import Any

from controller.inspection.head_measured import HeadMeasured, Measured, Unmeasured
from controller.inspection.inspected import Inspected, LensMeasured
from controller.kit.kit import Kit

CAUSES = 2  # significant digits of an uncertainty (GUM, JCGM 100:2008, 7.2.6)


def with_interval(found: Measured, unit: str = "") -> str:
    """A value with its 95 % interval, rounded to two digits of the latter: "24.013 ± 0.021 mm"."""
    half = found.interval[1] - found.value
    if not math.isfinite(half) or half <= 0:
        return f"{found.value:.6g} {unit}".rstrip()
    digits = max(0, CAUSES - 1 - math.floor(math.log10(half)))
    return f"{found.value:.{digits}f} ± {half:.{digits}f} {unit}".rstrip()


def lens_sentences(lens: LensMeasured, kit: Kit) -> Iterator[str]:
    """What the set says of the lens."""
    if lens.focal_mm is not None:
        yield f"Focal length: {with_interval(lens.focal_mm, 'mm')}; the kit says {kit.lens.focal_length_mm:g} mm."
    bends = [name for name in ("k1", "k2", "k3") if name in lens.terms]
    if bends:
        terms = ", ".join(f"{name} {with_interval(lens.terms[name])}" for name in bends)
        yield f"Distortion: {terms}."
    else:
        yield "Distortion: none that the pictures can show."
    yield from _pupil_sentences(lens)


def _pupil_sentences(lens: LensMeasured) -> Iterator[str]:
    ahead = lens.pupil_ahead_mm or lens.pupil_ahead_share
    if ahead is None:
        if lens.pupil_reason:
            yield f"Entrance pupil: not measured, because {lens.pupil_reason}."
        return
    low, high = ahead.interval
    slide = "Leave the rail where it is." if low < 0 < high else f"Slide the camera {'back' if low >= 0 else 'forward'}."
    if lens.pupil_ahead_mm is not None and lens.pupil_right_mm is not None:
        first, right = (with_interval(each, "mm") for each in (lens.pupil_ahead_mm, lens.pupil_right_mm))
        yield f"Entrance pupil: {first} ahead of the axis, {right} to its right. {slide}"
    else:
        share = with_interval(Measured(1000 * ahead.value, 1000 * ahead.sd), "mm for each metre to the nearest things")
        yield f"Entrance pupil: {share} ahead of the axis. {slide} Give --nearest-mm to have it in millimetres."


QUANTITIES = (
    ("pan_steps_per_degree", "Pan", "steps per degree"),
    ("tilt_steps_per_degree", "Tilt", "steps per degree"),
    ("pan_play_deg", "Play of the pan", "°"),
    ("tilt_play_deg", "Play of the tilt", "°"),
    ("lean_deg", "Lean", "°"),
)


def head_sentences(head: HeadMeasured, kit: Kit) -> Iterator[str]:
    """What the set says of the head."""
    used = {
        "pan_steps_per_degree": kit.head.pan.steps_per_degree,
        "tilt_steps_per_degree": kit.head.tilt.steps_per_degree,
    }
    for name, what, unit in QUANTITIES:
        found: Measured | Unmeasured = getattr(head, name)
        if isinstance(found, Unmeasured):
            yield f"{what}: not measured, because {found.value}."
        else:
            against = f"; the run used {used[name]:.10g}" if name in used else ""
            yield f"{what}: {with_interval(found, unit)}{against}."


def measured_values(inspected: Inspected) -> dict[str, Any]:
    """The lens and the head as values, each with its standard uncertainty and its 95 % interval, or the reason."""
    lens, head = inspected.lens, inspected.head
    return {
        "focal_mm": _value(lens.focal_mm),
        "lens": {name: _value(found) for name, found in lens.terms.items()},
        "pupil_ahead_mm": _value(lens.pupil_ahead_mm) or {"reason": lens.pupil_reason},
        "pupil_right_mm": _value(lens.pupil_right_mm) or {"reason": lens.pupil_reason},
        "pupil_ahead_share": _value(lens.pupil_ahead_share),
        **{name: _value(getattr(head, name)) for name, _, _ in QUANTITIES},
    }


def _value(found: Measured | Unmeasured | None) -> dict[str, Any] | None:
    if found is None:
        return None
    if isinstance(found, Unmeasured):
        return {"reason": found.value}
    return {"value": found.value, "u": found.sd, "from": found.interval[0], "to": found.interval[1]}
