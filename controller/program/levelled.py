"""Where to send the axes of a head that is not level, so that the camera points correctly."""

import math
from dataclasses import dataclass

STEEP_DEG = 60.0  # a pose up to this pitch is met exactly


@dataclass(frozen=True, slots=True)
class LevelledPose:
    """The angles for the axes, and the remaining roll, in degrees.

    Roll is positive if the camera's right side hangs low.
    """

    pan_deg: float
    tilt_deg: float
    roll_deg: float


def levelled(yaw_deg: float, pitch_deg: float, lean_deg: float, toward_deg: float) -> LevelledPose:
    """The pose in which a head whose pan axis leans by `lean_deg` toward `toward_deg` looks at this yaw and pitch.

    The direction is turned back about the horizontal axis across `toward_deg`; the pan stays within half a turn of the
    yaw. Two axes cannot turn back the roll: up to the lean at the horizon, up to lean / cos(pitch) elsewhere. Above
    STEEP_DEG the roll would matter more than the direction, so the pan corrects less and less of the lean there. The roll
    then stays within twice the lean, and the direction within the lean itself.
    """
    if lean_deg == 0:
        return LevelledPose(yaw_deg, pitch_deg, 0.0)
    ahead, pitch, lean = (math.radians(angle) for angle in (yaw_deg - toward_deg, pitch_deg, lean_deg))
    along, across, up = math.cos(pitch) * math.cos(ahead), math.cos(pitch) * math.sin(ahead), math.sin(pitch)
    along, up = along * math.cos(lean) - up * math.sin(lean), up * math.cos(lean) + along * math.sin(lean)
    turned = math.remainder(math.atan2(across, along) - ahead, math.tau)
    steepness = math.tan(math.radians(STEEP_DEG)) / max(abs(math.tan(pitch)), 1e-12)
    pan = ahead + turned * min(1.0, steepness**2)
    tilt = math.atan2(up, along * math.cos(pan) + across * math.sin(pan))
    # The camera's right, horizontal relative to the head, leans with it: (-sin pan, cos pan, 0) turned by the lean. So
    # does its up direction; their heights give the roll.
    right = math.sin(pan) * math.sin(lean)
    upper = math.cos(tilt) * math.cos(lean) + math.sin(tilt) * math.cos(pan) * math.sin(lean)
    return LevelledPose(toward_deg + math.degrees(pan), math.degrees(tilt), -math.degrees(math.atan2(right, upper)))
