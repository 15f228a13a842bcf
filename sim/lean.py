"""A base that is not level: the angles of the axes, and where the camera really points."""

import math

Vector = tuple[float, float, float]


def leaned(yaw_deg: float, pitch_deg: float, lean_deg: float, toward_deg: float) -> tuple[float, float]:
    """Yaw and pitch of the camera on a head whose pan axis leans by `lean_deg` toward the yaw `toward_deg`.

    The direction is turned about the horizontal axis across `toward_deg`; the yaw stays within half a turn of the axis's.
    """
    if lean_deg == 0:
        return yaw_deg, pitch_deg
    from_lean, pitch, lean = math.radians(yaw_deg - toward_deg), math.radians(pitch_deg), math.radians(lean_deg)
    along, across, up = math.cos(pitch) * math.cos(from_lean), math.cos(pitch) * math.sin(from_lean), math.sin(pitch)
    # The axis's top moves toward `toward_deg`, so a camera turned that way points lower.
    along, up = along * math.cos(lean) + up * math.sin(lean), up * math.cos(lean) - along * math.sin(lean)
    true_yaw = math.degrees(math.atan2(across, along)) + toward_deg
    true_yaw += 360 * round((yaw_deg - true_yaw) / 360)
    return true_yaw, math.degrees(math.atan2(up, math.hypot(along, across)))


def leaned_roll(yaw_deg: float, pitch_deg: float, lean_deg: float, toward_deg: float) -> float:
    """The roll of that camera in degrees, -180 to 180: positive if its right side hangs low.

    Its right and upper side are turned with the head and compared with those of an upright camera with the same
    direction.
    """
    if lean_deg == 0:
        return 0.0
    seen_yaw, seen_pitch = leaned(yaw_deg, pitch_deg, lean_deg, toward_deg)
    (_, right, _), (_, level, upper) = _sides(yaw_deg, pitch_deg), _sides(seen_yaw, seen_pitch)
    away, lean = math.radians(toward_deg), math.radians(lean_deg)
    along = right[0] * math.cos(away) + right[1] * math.sin(away)  # level: it is horizontal before the head leans
    moved, sunk = along * (math.cos(lean) - 1), -along * math.sin(lean)
    right = (right[0] + moved * math.cos(away), right[1] + moved * math.sin(away), sunk)
    to_level, to_upper = (sum(a * b for a, b in zip(right, side, strict=True)) for side in (level, upper))
    return math.degrees(math.atan2(-to_upper, to_level))


def _sides(yaw_deg: float, pitch_deg: float) -> tuple[Vector, Vector, Vector]:
    """Forward, right and up of an upright camera: x toward yaw 0, y toward yaw 90, z up."""
    yaw, pitch = math.radians(yaw_deg), math.radians(pitch_deg)
    flat, height = math.cos(pitch), math.sin(pitch)
    return (
        (flat * math.cos(yaw), flat * math.sin(yaw), height),
        (-math.sin(yaw), math.cos(yaw), 0.0),
        (-height * math.cos(yaw), -height * math.sin(yaw), flat),
    )
