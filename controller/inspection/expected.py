"""What the session expects of each frame's picture: its pose with the uncertainty, the lens, and the neighbours."""

import math
from collections.abc import Mapping, Sequence

import numpy as np

from controller.inspection.lens_model import BrownLens
from controller.inspection.linking import around
from controller.inspection.overlap import FrameView, axes_of
from controller.inspection.pixel_places import PixelPlaces
from controller.inspection.poses import HeadFrame
from controller.kit.kit import Axis, Kit
from controller.matching.table import MatchLine
from controller.optics.projection import LAWS
from controller.planning.links import ENOUGH, find_links
from controller.planning.plan import Frame, Plan
from controller.planning.reached_poses import frame_pose

BY_HAND_DEG = 5.0  # of a pose that a person held. Our own choice, no source
SEARCH_DEG = 0.4  # of an aim, for the search: the focal length and the distortion are not yet known
WITHIN_CIRCLE = 0.99  # of the image circle: its edge is dark


def pixels_per_mm(kit: Kit, size_px: tuple[int, int]) -> float:
    """The pixels of an upright picture of this size to a millimetre of the kit's sensor."""
    return size_px[0] / kit.camera.used_mm[kit.camera.mounted == "portrait"]


def lens_of(kit: Kit, size_px: tuple[int, int]) -> BrownLens:
    """The kit's lens in pixels of an upright picture of this size."""
    camera, per_mm = kit.camera, pixels_per_mm(kit, size_px)
    return BrownLens(
        kit.lens.projection,
        kit.lens.focal_length_mm * per_mm,
        (size_px[0] - 1) / 2 - camera.offset_right_mm * per_mm,
        (size_px[1] - 1) / 2 + camera.offset_up_mm * per_mm,
    )


def circle_px(kit: Kit, size_px: tuple[int, int]) -> float | None:
    """The radius of the image circle in such a picture; None if there is none."""
    field, focal_px = kit.field(0.0), lens_of(kit, size_px).focal_px
    if field.circle_rad is None:
        return None
    return WITHIN_CIRCLE * focal_px * LAWS[field.projection].radius(field.circle_rad)


def fits_camera(kit: Kit, size_px: tuple[int, int]) -> bool:
    """Whether an upright picture has the shape of the kit's, to a fiftieth."""
    wide, high = kit.camera.used_mm
    due = high / wide if kit.camera.mounted == "portrait" else wide / high
    return abs(size_px[0] / size_px[1] / due - 1) < 0.02


def head_frames(plan: Plan, lines: Mapping[int, MatchLine], order: Sequence[Frame]) -> list[HeadFrame]:
    """The frames in `order` as the head reports them. `lines` has a line of the card for each frame with a picture;
    other frames are as planned.
    """
    sides = _approaches(plan, lines)
    return [_head_frame(plan.kit, frame, lines.get(frame.id), sides.get(frame.id, (0, 0))) for frame in order]


def _head_frame(kit: Kit, frame: Frame, line: MatchLine | None, sides: tuple[int, int]) -> HeadFrame:
    if line is None or line.yaw_deg is None or line.pitch_deg is None or line.roll_deg is None:
        pose = frame_pose(kit.head, frame)
        yaw, pitch, roll = pose.yaw_deg, pose.pitch_deg, pose.roll_deg
    else:
        yaw, pitch, roll = line.yaw_deg, line.pitch_deg, line.roll_deg
    if frame.by_hand or line is None or line.pan_deg is None or line.tilt_deg is None:
        hand = BY_HAND_DEG if frame.by_hand else axis_sd_deg(kit.head.pan)
        return HeadFrame(yaw, pitch, roll, hand, hand, hand, yaw, pitch)
    pan, tilt = axis_sd_deg(kit.head.pan), axis_sd_deg(kit.head.tilt)
    return HeadFrame(yaw, pitch, roll, pan, tilt, min(pan, tilt), line.pan_deg, line.tilt_deg, *sides)


def axis_sd_deg(axis: Axis) -> float:
    """The standard uncertainty of one angle of an axis against the others, in degrees.

    Half a microstep and the motor's 5 % of a full step as in `Head.pointing_error_deg`, taken as evenly likely (GUM,
    JCGM 100:2008, 4.3.7). The gear's error once per turn is a term of the adjustment.
    """
    return (0.5 + 0.05 * axis.microsteps) / axis.steps_per_degree / math.sqrt(3)


def _approaches(plan: Plan, lines: Mapping[int, MatchLine]) -> dict[int, tuple[int, int]]:
    """From which side each axis came to each frame (see `poses.Frame`).

    An axis whose play is taken up always comes from the smaller angles.
    """
    shot = [frame.id for frame in plan.frames if frame.id in lines and lines[frame.id].pan_deg is not None]
    sides: dict[int, tuple[int, int]] = {}
    last: tuple[float, float] | None = None
    side = [0, 0]
    for frame in shot:
        line = lines[frame]
        assert line.pan_deg is not None
        assert line.tilt_deg is not None
        here = (line.pan_deg, line.tilt_deg)
        if last is not None:
            side = [int(np.sign(new - old)) or was for new, old, was in zip(here, last, side, strict=True)]
        last = here
        taken_up = (plan.kit.head.pan.backlash_deg > 0, plan.kit.head.tilt.backlash_deg > 0)
        sides[frame] = (1 if taken_up[0] else side[0], 1 if taken_up[1] else side[1])
    return sides


def views_of(
    frames: Sequence[HeadFrame], lens: BrownLens, size_px: tuple[int, int], circle: float | None
) -> list[FrameView]:
    """The frames for the search of matching points, by their commanded poses."""
    shown = PixelPlaces(lens)
    return [
        FrameView(
            axes_of(frame.yaw_deg, frame.pitch_deg, frame.roll_deg),
            shown,
            size_px,
            math.radians(math.hypot(SEARCH_DEG, frame.yaw_sd_deg, frame.pitch_sd_deg)),
            circle,
        )
        for frame in frames
    ]


def neighbours(plan: Plan, frames: Sequence[HeadFrame]) -> list[tuple[int, int]]:
    """Pairs of frames, by place in the plan, that share enough of their pictures at these poses.

    Frames of the first pass are paired with each other; a repeat with the frame that it repeats and with the first pass's
    neighbours of that, so that all passes of a pose are compared with the same pictures.
    """
    first = [place for place, frame in enumerate(plan.frames) if frame.repeats is None]
    poses = [np.array([getattr(frames[place], name) for place in first]) for name in ("yaw_deg", "pitch_deg", "roll_deg")]
    links = find_links(plan.kit.field(0.0), *poses)
    pairs = [(first[one], first[other]) for one, other in links.pairs[links.shares >= ENOUGH].tolist()]
    place_of = {frame.id: place for place, frame in enumerate(plan.frames)}
    beside = around(pairs)
    for place, frame in enumerate(plan.frames):
        if frame.repeats is not None:
            original = place_of[frame.repeats]
            pairs += [(each, place) for each in [original, *sorted(beside.get(original, ()))]]
    return pairs
