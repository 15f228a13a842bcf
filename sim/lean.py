"""A base that is not level: what the axes say, and where the camera then really points."""

import math


def leaned(yaw_deg: float, pitch_deg: float, lean_deg: float, toward_deg: float) -> tuple[float, float]:
    """Yaw and pitch of the camera on a head whose pan axis leans by `lean_deg` toward the yaw `toward_deg`.

    The direction is turned about the horizontal axis across `toward_deg`; the yaw stays within half a turn of what
    the axis says.
    """
    if lean_deg == 0:
        return yaw_deg, pitch_deg
    from_lean, pitch, lean = math.radians(yaw_deg - toward_deg), math.radians(pitch_deg), math.radians(lean_deg)
    along, across, up = math.cos(pitch) * math.cos(from_lean), math.cos(pitch) * math.sin(from_lean), math.sin(pitch)
    # The axis's top moves toward `toward_deg`, so what looks that way looks lower.
    along, up = along * math.cos(lean) + up * math.sin(lean), up * math.cos(lean) - along * math.sin(lean)
    true_yaw = math.degrees(math.atan2(across, along)) + toward_deg
    true_yaw += 360 * round((yaw_deg - true_yaw) / 360)
    return true_yaw, math.degrees(math.atan2(up, math.hypot(along, across)))
