"""The picture of the demo's planned sphere, unrolled: every frame with its core and its number."""

from functools import cache
from pathlib import Path

import numpy as np

from controller.amounts import duration
from controller.kit.load import load_kit
from controller.optics.field import Sides
from controller.planning.directions import Array
from controller.planning.frame_outlines import outlines_at, unrolled_deg
from controller.planning.make import make_plan
from controller.planning.order import Order
from controller.planning.plan import Frame, Plan
from controller.planning.reached_poses import poses_of
from controller.planning.request import Request
from tests.repo.canvas import BLUE, GREY, GROUND, INK, ORANGE, PAPER, Picture, painted

DEMO = Path(__file__).resolve().parents[2] / "sim" / "demo" / "kit.toml"
OVERLAP = 0.30
LEFT, TOP, DEGREE = 42.0, 44.0, 428 / 360  # pixels of a degree
POINTS = 28
NEAREST_EDGE_DEG = (9.0, 83.0)  # a number nearer to the side, or to a pole, would be cut


@cache
def demo_plan() -> Plan:
    """The plan that `fullturn plan` makes of the demo's kit."""
    return make_plan(load_kit(DEMO), OVERLAP, Request(order=Order.QUICKEST))


def sphere_map() -> Picture:
    """The whole sphere of the demo: yaw to the right, pitch upward, straight ahead in the middle."""
    plan = demo_plan()
    counted = f"{len(plan.frames)} frames, {plan.budget.exposures} exposures, about {duration(plan.budget.seconds)}"
    shown = Picture(PAPER, 312, f"A planned sphere of {len(plan.frames)} frames",
                    "The whole sphere unrolled: yaw from -180 to 180 degrees, pitch from -90 to 90 degrees. Each frame "
                    "is drawn with its number. The frames overlap, and their cores leave nothing free.",
                    width_px=2 * PAPER)  # fmt: skip
    shown.text(LEFT, 28, counted, INK, "start")
    wide, high = 360 * DEGREE, 180 * DEGREE
    shown.parts.append(f'<clipPath id="map"><rect x="{LEFT}" y="{TOP}" width="{wide:g}" height="{high:g}"/></clipPath>')
    shown.parts.append('<g clip-path="url(#map)">')
    view = plan.kit.field(plan.overlap)
    for outline, surface in _outlines(plan, view.whole):
        shown.area(surface, BLUE, 0.16)
        shown.line(outline, BLUE, 0.9)
    for outline, _ in _outlines(plan, view.core):
        shown.line(outline, ORANGE, 1.6)
    for frame in plan.frames:
        _number(shown, frame)
    shown.parts.append("</g>")
    shown.box(LEFT, TOP, wide, high, GREY)
    _scales(shown)
    shown.text(LEFT, 304, "frame", BLUE, "start", 15)
    shown.text(LEFT + 56, 304, "its core", ORANGE, "start", 15)
    worst = f"tightest place: {plan.proof.worst_margin_deg:.2f}° to spare"
    shown.text(LEFT + wide, 304, worst, GREY, "end", 15)
    return shown


def _place(degrees: Array) -> Array:
    """Yaw and pitch in degrees as places of the picture, shape (n, 2)."""
    placed: Array = np.array([LEFT, TOP]) + DEGREE * (np.array([180.0, 90.0]) + degrees * np.array([1, -1]))
    return placed


def _outlines(plan: Plan, sides: Sides) -> list[tuple[Array, Array]]:
    """The outlines on the unrolled sphere, as lines and as surfaces: those about a pole end above it.

    One across the seam is there twice.
    """
    found = []
    for frame, outline in zip(
        plan.frames,
        outlines_at(plan.kit.field(plan.overlap), sides, poses_of(plan.kit.head, plan.frames), POINTS),
        strict=True,
    ):
        line = surface = unrolled_deg(outline)
        line[:, 0] = np.unwrap(line[:, 0], period=360)
        if abs(line[-1, 0] - line[0, 0]) > 180:
            pole = np.copysign(90.0, frame.pitch_deg)
            surface = np.concatenate([line, [(line[-1, 0], pole), (line[0, 0], pole)]])
        for turn in (-720, -360, 0, 360, 720):
            moved = line[:, 0] + turn
            if moved.min() < 180 and moved.max() > -180:
                shift = np.array([turn, 0])
                found.append((_place(line + shift), _place(surface + shift)))
    return found


def _number(shown: Picture, frame: Frame) -> None:
    side, pole = NEAREST_EDGE_DEG
    yaw = (frame.yaw_deg + 180) % 360 - 180
    at = np.array([[np.clip(yaw, side - 180, 180 - side), np.clip(frame.pitch_deg, -pole, pole)]])
    x, y = _place(at)[0]
    shown.parts.append(
        f'<text x="{x:.1f}" y="{y + 5:.1f}" {painted(GROUND, INK)} stroke-width="3" paint-order="stroke" '
        f'text-anchor="middle" font-size="15">{frame.id}</text>'
    )


def _scales(shown: Picture) -> None:
    for yaw in range(-180, 181, 90):
        x, y = _place(np.array([[yaw, -90.0]]))[0]
        anchor = {-180: "start", 180: "end"}.get(yaw, "middle")
        shown.text(x, y + 18, f"yaw {yaw}°" if yaw == 0 else f"{yaw}°", GREY, anchor, 15)
    for pitch in (-90, 0, 90):
        x, y = _place(np.array([[-180.0, pitch]]))[0]
        shown.text(x - 5, y + (5, 12, 0)[(pitch > 0) - (pitch < 0)], f"{pitch}°", GREY, "end", 15)
