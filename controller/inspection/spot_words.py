"""How the head and the camera are put up today against an earlier set, in sentences and as values."""

import math
from collections.abc import Iterator
from typing import Any

from controller.amounts import counted, degrees
from controller.inspection.head_measured import Measured
from controller.inspection.measured_words import with_interval
from controller.inspection.same_spot import ZeroDifference
from controller.inspection.shifted import Unshifted
from controller.inspection.spot_of_today import Leftover, ToMove, leans_otherwise
from controller.inspection.todays import PlacedToday
from controller.planning.aligned import HeadBase

MOST_NAMED = 8  # frames
WAYS = (("right", "to the right", "to the left"), ("up", "up", "down"), ("ahead", "forward", "back"))


def placed_sentence(found: PlacedToday) -> str:
    """What today's photograph was placed by."""
    named = ", ".join(map(str, found.frames[:MOST_NAMED]))
    more = f" and {len(found.frames) - MOST_NAMED} more" if len(found.frames) > MOST_NAMED else ""
    frames = f"frame {named}" if len(found.frames) == 1 else f"frames {named}{more}"
    return f"The photograph shares {counted(found.points, 'point')} with {frames}."


def head_lines(difference: ZeroDifference) -> Iterator[str]:
    """How the head differs from then."""
    yaw = difference.yaw
    side = "right" if yaw.value >= 0 else "left"
    yield f"Yaw 0 is {with_interval(Measured(abs(yaw.value), yaw.sd))}° to the {side} of where it was."
    along, across = difference.lean_to_0, difference.lean_to_90
    if not leans_otherwise(difference):
        sure = 1.96 * max(along.sd, across.sd)
        yield f"The pan axis leans as it did, within {sure:.2g}°."
        return
    size = math.hypot(along.value, across.value)
    sd = math.hypot(along.value * along.sd, across.value * across.sd) / size
    toward = math.degrees(math.atan2(across.value, along.value)) - yaw.value
    yield (
        f"The pan axis leans {with_interval(Measured(size, sd))}° further toward today's yaw "
        f"{degrees(toward - 360 * round(toward / 360))} than it did. If the camera was taken off the head since then, "
        "this may be how it was put back: add --yaw-only."
    )


def place_line(way: ToMove | Unshifted, nearest_mm: float | None) -> str:
    """Whether the camera is where it was, and where to move it."""
    if isinstance(way, Unshifted):
        return f"Place of the camera: {way.value}."
    parts = []
    for name, positive, negative in WAYS:
        found: Measured | None = getattr(way, name)
        if found is None:
            continue
        scale = 100.0 if nearest_mm is None else nearest_mm
        amount = with_interval(Measured(abs(found.value) * scale, found.sd * scale), "%" if nearest_mm is None else "mm")
        parts.append(f"{positive if found.value > 0 else negative} by {amount}")
    if not parts:
        return "Place of the camera: it is not where it was, but too near it to tell the direction."
    advice = f"To stand where it stood, move the camera, as this photograph sees it, {', '.join(parts)}"
    if nearest_mm is None:
        advice += " of the distance to the nearest things that both days show (--nearest-mm makes that millimetres)"
    return f"{advice}. Then shoot the photograph again."


def leftover_line(left: Leftover) -> str:
    """How well the new plan's frames lie on the earlier ones."""
    middle, corner = (f"{each:.1f}" for each in (left.middle_px, left.corner_px))
    if left.corner_px < 1:
        return "The new plan's frames have the poses of the earlier ones within a pixel, as far as the photograph tells."
    return (
        f"The new plan's frames lie on the earlier ones within {middle} pixels in the middle and {corner} in the corners "
        f"(frame {left.frame}): two axes cannot turn back the roll of another lean. Level the head as then to avoid that."
    )


def spot_values(
    found: PlacedToday, difference: ZeroDifference, base: HeadBase, way: ToMove | Unshifted, nearest_mm: float | None
) -> dict[str, Any]:
    """All of it for other programs. The way is in shares of the distance to the nearest things, or in mm."""
    return {
        "points": found.points,
        "frames": list(found.frames),
        "yaw_deg": _value(difference.yaw),
        "lean_to_0_deg": _value(difference.lean_to_0),
        "lean_to_90_deg": _value(difference.lean_to_90),
        "base": {
            "yaw_deg": base.yaw_deg,
            "lean_deg": base.lean_deg,
            "lean_toward_deg": base.lean_toward_deg,
        },
        "move": {"reason": way.value} if isinstance(way, Unshifted) else _way(way, 1.0),
        "move_mm": None if isinstance(way, Unshifted) or nearest_mm is None else _way(way, nearest_mm),
    }


def _way(way: ToMove, scale: float) -> dict[str, Any]:
    return {name: _value(getattr(way, name), scale) for name, _, _ in WAYS}


def _value(found: Measured | None, scale: float = 1.0) -> dict[str, float] | None:
    if found is None:
        return None
    low, high = found.interval
    return {"value": found.value * scale, "u": found.sd * scale, "from": low * scale, "to": high * scale}
