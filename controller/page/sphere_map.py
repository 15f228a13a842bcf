"""The frames of a plan as shapes on the unrolled sphere, for the page to draw.

The drawing is 360 wide and 180 high: x is yaw (-180 to 180, straight ahead in the middle), y is minus pitch, in degrees.
A shape is SVG path data. It may reach past the left or right edge; the page draws it a turn to the left and to the right,
too.
"""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from controller.planning.directions import Array
from controller.planning.frame_outlines import outlines_at, unrolled_deg
from controller.planning.plan import Frame, Plan
from controller.planning.reached_poses import poses_of

POINTS = 32  # around an outline: on a phone's screen more are not seen
TURN = 360.0
MOST_LABEL_PITCH_DEG = 84.0  # a number nearer to a pole would be cut off


@dataclass(frozen=True, slots=True)
class FrameShape:
    """A frame of the first pass: the core's shape, and where its number is written."""

    id: int
    x: float
    y: float
    path: str


@dataclass(frozen=True, slots=True)
class SphereMap:
    """All frames of the first pass, and what the plan leaves out, as shapes.

    `passes` maps every frame of a later pass to the frame of the first pass with its pose.
    """

    frames: tuple[FrameShape, ...]
    outside: tuple[str, ...]
    passes: dict[int, int]

    def as_json(self) -> dict[str, Any]:
        """For the page."""
        return asdict(self)


def sphere_map(plan: Plan) -> SphereMap:
    """The map of a plan."""
    field = plan.kit.field(plan.overlap)
    first = plan.first_pass
    outlines = outlines_at(field, field.core, poses_of(plan.kit.head, first), POINTS)
    shapes = tuple(_shape(frame, outline) for frame, outline in zip(first, outlines, strict=True))
    again = {frame.id: frame.repeats for frame in plan.frames if frame.repeats is not None}
    return SphereMap(shapes, _outside(plan), again)


def _shape(frame: Frame, outline: Array) -> FrameShape:
    yaw_deg = (frame.yaw_deg + 180) % TURN - 180
    pitch_deg = min(max(frame.pitch_deg, -MOST_LABEL_PITCH_DEG), MOST_LABEL_PITCH_DEG)
    return FrameShape(frame.id, round(yaw_deg, 1), round(-pitch_deg, 1), _path(outline, yaw_deg, frame.pitch_deg))


def _path(outline: Array, yaw_deg: float, pitch_deg: float) -> str:
    """The shape that contains the frame's direction."""
    flat = unrolled_deg(outline)
    steps = np.diff(flat[:, 0], prepend=yaw_deg)
    x = yaw_deg + np.cumsum((steps + 180) % TURN - 180)
    y = -flat[:, 1]
    if abs(x[-1] - x[0]) > TURN / 2:  # the outline goes once round a pole, which is inside
        pole = -90.0 if pitch_deg > 0 else 90.0
        return _closed(np.append(x, [x[-1], x[0]]), np.append(y, [pole, pole]))
    shape = _closed(x, y)
    if _is_inside(yaw_deg, -pitch_deg, x, y):
        return shape
    # More than half the sphere, both poles included: all but what the outline encloses.
    return f"M{yaw_deg - 180:g} -90H{yaw_deg + 180:g}V90H{yaw_deg - 180:g}Z{shape}"


def _is_inside(at_x: float, at_y: float, x: Array, y: Array) -> bool:
    """Whether a closed line goes round a place: a ray to the right crosses it an odd number of times."""
    x1, y1, x2, y2 = x[:-1], y[:-1], x[1:], y[1:]
    crosses = (y1 > at_y) != (y2 > at_y)
    with np.errstate(divide="ignore", invalid="ignore"):
        right = x1 + (at_y - y1) / (y2 - y1) * (x2 - x1) > at_x
    return bool(np.count_nonzero(crosses & right) % 2)


def _closed(x: Array, y: Array) -> str:
    places = [f"{round(float(a), 1):g} {round(float(b), 1):g}" for a, b in zip(x, y, strict=True)]
    return f"M{'L'.join(places)}Z"


def _outside(plan: Plan) -> tuple[str, ...]:
    """What the plan does not cover, as rectangles."""
    region = plan.region
    left, wide = (-180.0, TURN) if region.yaw_width_deg >= TURN else (region.yaw_from_deg, region.yaw_width_deg)
    left = (left + 180) % TURN - 180
    rectangles = [
        (left, -90.0, wide, 90 - region.pitch_to_deg),
        (left, -region.pitch_from_deg, wide, region.pitch_from_deg + 90),
        (left + wide, -90.0, TURN - wide, 180.0),
    ]
    return tuple(
        f"M{round(x, 1):g} {round(y, 1):g}h{round(w, 1):g}v{round(h, 1):g}h{round(-w, 1):g}Z"
        for x, y, w, h in rectangles
        if w > 0 and h > 0
    )
