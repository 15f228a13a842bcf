"""How the head is put up today against an earlier set, and what is left of that when a plan was aligned to it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from controller.errors import InputError
from controller.inspection.head_measured import Measured
from controller.inspection.lens_model import Array
from controller.inspection.poses import HeadFrame, angles_of, commanded, pan_axis, turn_of
from controller.inspection.same_spot import SpotFound, ZeroDifference, upright_turn
from controller.inspection.shifted import Unshifted
from controller.kit.kit import Head
from controller.planning.aligned import HeadBase
from controller.planning.plan import Frame, Plan
from controller.planning.reached_poses import frame_pose
from controller.program.kinematics import axes_for, will_reach

SDS = ("yaw_sd_deg", "pitch_sd_deg", "roll_sd_deg")
SURE = 2.0  # standard deviations: a smaller lean is left out, so that a kit without a lean stays so
MOST_LEAN_DEG = 10.0  # a head that leans by more is not put up for a panorama
LEAN_ROUNDED = 4  # places of a lean in degrees, as in a kit
TOWARD_ROUNDED = 2


def shot_at(head: Head, yaw_deg: float, pitch_deg: float, frames: Sequence[HeadFrame]) -> HeadFrame:
    """Today's photograph as the head reports it, shot at this yaw and pitch of today's zero.

    The head repeats poses as well as it did in the earlier set, whose `frames` say so.
    """
    pose = will_reach(head, yaw_deg, pitch_deg)
    yaw, pitch, roll = (float(np.median([getattr(frame, name) for frame in frames])) for name in SDS)
    pan_deg, tilt_deg = axes_for(head, yaw_deg, pitch_deg)
    return HeadFrame(pose.yaw_deg, pose.pitch_deg, pose.roll_deg, yaw, pitch, roll, pan_deg, tilt_deg)


def leans_otherwise(difference: ZeroDifference) -> bool:
    """Whether the pan axis leans otherwise than then, beyond what the photograph leaves uncertain."""
    return any(abs(each.value) > SURE * each.sd for each in (difference.lean_to_0, difference.lean_to_90))


def base_of(difference: ZeroDifference, head: Head, pan_scale: float, *, yaw_only: bool = False) -> HeadBase:
    """How today's head is put up in the world of the earlier set. `head` is as its kit has it, lean included.

    A head whose pan turns further than commanded by the share `pan_scale` gets that much less of the yaw: a new yaw means
    a new pan for every frame. With `yaw_only`, or if the lean is as it was, the kit's lean is kept.
    """
    if yaw_only or not leans_otherwise(difference):
        return HeadBase(float(difference.yaw.value / (1 + pan_scale)), head.lean_deg, head.lean_toward_deg)
    up = -pan_axis(head.lean_deg, head.lean_toward_deg)
    base = difference.turn @ upright_turn(up).T
    up = -base[:, 1]
    turn = upright_turn(up) @ base
    yaw_deg = float(np.degrees(np.arctan2(turn[0, 2], turn[2, 2])))
    lean_deg = float(np.degrees(np.arctan2(np.hypot(up[0], up[2]), -up[1])))
    toward_deg = float(np.degrees(np.arctan2(up[0], up[2]))) - yaw_deg
    toward_deg -= 360 * round(toward_deg / 360)
    return HeadBase(
        float(yaw_deg / (1 + pan_scale)), round(lean_deg, LEAN_ROUNDED), round(toward_deg, TOWARD_ROUNDED) + 0.0
    )


def must_be_upright(difference: ZeroDifference, photograph: str, yaw_deg: float, pitch_deg: float) -> None:
    """Refuse a photograph that does not look as this pose says, whatever the yaw. Raises InputError."""
    turn = difference.turn
    lean_deg = float(np.degrees(np.arctan2(np.hypot(turn[0, 1], turn[2, 1]), turn[1, 1])))
    if lean_deg > MOST_LEAN_DEG:
        raise InputError(
            f"{photograph}: was shot with the camera {lean_deg:.0f}° off the pose of yaw {yaw_deg:g}, pitch "
            f"{pitch_deg:g}. Give the --yaw and --pitch at which it was shot, and mount the camera as it was then."
        )


@dataclass(frozen=True, slots=True)
class ToMove:
    """How to move the tripod back to where it was, as today's photograph sees it (level, ahead along its yaw).

    Shares of the distance to the nearest things that both show; None if smaller than can be told.
    """

    right: Measured | None
    up: Measured | None
    ahead: Measured | None


def to_move(placed: SpotFound) -> ToMove | Unshifted:
    """The way back for a camera that is not where it was."""
    shift = placed.shift
    if isinstance(shift, Unshifted):
        return shift
    yaw = np.radians(angles_of(placed.rotation[None])[0, 0])
    right, down, ahead = -shift.direction
    parts = right * np.cos(yaw) - ahead * np.sin(yaw), -down, right * np.sin(yaw) + ahead * np.cos(yaw)
    aside = shift.share.value * np.radians(shift.direction_sd_deg)
    each = [Measured(float(part * shift.share.value), float(np.hypot(part * shift.share.sd, aside))) for part in parts]
    return ToMove(*(one if abs(one.value) > SURE * one.sd else None for one in each))


@dataclass(frozen=True, slots=True)
class Leftover:
    """How far the frames of an aligned plan are from where they were, in pixels of the camera's picture.

    `middle_px` and `corner_px` are the most of any frame in the picture's middle and corners, and `frame` the frame with
    the latter. The photograph's own uncertainty and the head's are not in it.
    """

    middle_px: float
    corner_px: float
    frame: int


def leftover(earlier: Plan, aligned: Plan, base: HeadBase) -> Leftover:
    """Compare the poses that the head reaches today with those of the earlier plan."""
    field = earlier.kit.field(0.0)
    corner = float(np.hypot(field.pixels_across, field.pixels_up)) / 2
    then = commanded([_reached(earlier.kit.head, frame, 0.0) for frame in earlier.first_pass])
    today = commanded([_reached(aligned.kit.head, frame, base.yaw_deg) for frame in aligned.first_pass])
    turns = turn_of(then.transpose(0, 2, 1) @ today)
    middle: Array = np.hypot(turns[:, 0], turns[:, 1]) / field.pixel_rad
    corners = middle + np.abs(turns[:, 2]) * corner
    worst = int(np.argmax(corners))
    return Leftover(float(middle.max()), float(corners[worst]), earlier.first_pass[worst].id)


def _reached(head: Head, frame: Frame, base_deg: float) -> HeadFrame:
    pose = frame_pose(head, frame)
    return HeadFrame(pose.yaw_deg + base_deg, pose.pitch_deg, pose.roll_deg, 0, 0, 0, 0, 0)
