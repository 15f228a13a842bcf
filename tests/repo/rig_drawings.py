"""Pictures of a rig: axes and signs, where the lens must turn, which leg to raise, and how to balance.

The rig is nobody's: plates, an arm and a box with a lens. Angles turn as the program's own axes say; the worked figures
are the program's.
"""

import math

import numpy as np

from controller.calibration.level import legs_to_raise
from controller.calibration.parallax import shift_px
from controller.planning.directions import Array, camera_axes
from tests.repo.canvas import BLUE, GREY, GROUND, INK, ORANGE, PAPER, RED, Picture

SEEN_FROM_DEG = (-50.0, -20.0)  # where the viewer looks: yaw and pitch, so from behind, the right and above
UNIT = 40.0
FOCAL_MM, PIXEL_UM, NEAR_MM, FAR_MM, TURN_DEG, OFF_MM = 12.0, 6.0, 1000.0, 50_000.0, 30.0, 9.1
LEAN_DEG, TOWARD_DEG, FIRST_LEG_DEG, LEG_MM = 0.397, 193.9, 30.0, 480.0


def seen(points: list[tuple[float, float, float]] | Array) -> Array:
    """Places of the picture for points (ahead, right, up) of the rig, whose axes meet at the origin; shape (n, 2)."""
    axes = camera_axes(*(np.radians([angle]) for angle in SEEN_FROM_DEG))
    world = np.asarray(points, dtype=float)
    flat: Array = np.stack([world @ axes.right[0], -(world @ axes.up[0])], axis=1) * UNIT + np.array([225.0, 235.0])
    return flat


def ring(middle: tuple[float, float, float], radius: float, about: str, from_deg: float, to_deg: float) -> Array:
    """An arc about an axis of the rig, in the sense in which yaw, pitch or roll grows; shape (n, 3)."""
    angle = np.radians(np.linspace(from_deg, to_deg, 60))
    level = camera_axes(np.zeros(1), np.zeros(1))
    ahead, right, up = level.forward[0], level.right[0], level.up[0]
    start, end = {"yaw": (ahead, right), "pitch": (ahead, up), "roll": (right, -up)}[about]
    arc: Array = np.array(middle) + radius * (np.cos(angle)[:, None] * start + np.sin(angle)[:, None] * end)
    return arc


def prism(shown: Picture, low: tuple[float, float, float], high: tuple[float, float, float]) -> None:
    """A block between two corners: the three faces that this viewer sees."""
    (x0, y0, z0), (x1, y1, z1) = low, high
    top = [(x0, y0, z1), (x1, y0, z1), (x1, y1, z1), (x0, y1, z1)]
    back = [(x0, y0, z0), (x0, y1, z0), (x0, y1, z1), (x0, y0, z1)]
    right = [(x0, y1, z0), (x1, y1, z0), (x1, y1, z1), (x0, y1, z1)]
    for face in (back, right, top):
        shown.solid(seen(face), INK, GROUND, 1.6)


def rig() -> Picture:
    """The rig at an angle: pan and tilt axis, the no-parallax point, and the senses of yaw, pitch and roll."""
    shown = Picture(PAPER, 560, "Axes and signs of the rig",
                    "A tripod, seen from behind and from the right. On it a base turns about the upright pan axis. An "
                    "arm carries the level tilt axis, and a camera whose no-parallax point is where the axes meet. "
                    "Yaw grows to the right, clockwise from above. Pitch grows upward. Roll is positive if the "
                    "camera's right side hangs low.")  # fmt: skip
    for yaw in (60, 180, 300):
        turn = math.radians(yaw)
        foot = (2.9 * math.cos(turn), 2.9 * math.sin(turn), -7.2)
        shown.line(seen([(0, 0, -3.1), foot]), INK, 5)
    shown.solid(seen(ring((0, 0, -3.0), 0.8, "yaw", 0, 360)), INK, GROUND, 1.6)
    shown.solid(seen(ring((0, 0, -2.5), 0.8, "yaw", 0, 360)), INK, GROUND, 1.6)
    prism(shown, (-0.4, -2.2, -2.4), (0.4, 0.6, -2.1))
    prism(shown, (-0.4, -2.4, -2.4), (0.4, -2.1, 0.6))
    shown.line(seen([(0, -3.4, 0), (0, 3.2, 0)]), ORANGE, 2, dash="8 5")
    shown.line(seen([(0, 0, 0), (0, 0, -2.2)]), BLUE, 2, dash="8 5")
    lens = [ring((x, 0, 0), 0.75, "roll", 0, 360) for x in (0.7, -1.2)]
    sides = np.array([lens[0][37], lens[1][37], lens[1][8], lens[0][8]])
    shown.solid(seen(lens[0]), INK, GROUND, 1.6)
    shown.area(seen(sides), GROUND)
    shown.line(seen(sides[:2]), INK, 1.6)
    shown.line(seen(sides[2:]), INK, 1.6)
    prism(shown, (-2.1, -1.0, -1.4), (-1.2, 1.0, 1.4))
    shown.line(seen([(0, 0, -2.2), (0, 0, 3.4)]), BLUE, 2, dash="8 5")
    shown.line(seen([(0.7, 0, 0), (4.6, 0, 0)]), GREY, 1.5, dash="2 4")
    shown.curve(seen(ring((0, 0, 2.7), 1.1, "yaw", -150, 120)), BLUE, 2.5)
    shown.curve(seen(ring((0, 0, 0), 3.6, "pitch", -8, 42)), ORANGE, 2.5)
    shown.curve(seen(ring((2.2, 0, 0), 0.9, "roll", -120, 90)), RED, 2.5)
    x, y = seen([(0, 0, 0)])[0]
    shown.dot(x, y, 5, RED, RED)
    _rig_words(shown)
    return shown


def _rig_words(shown: Picture) -> None:
    for place, words, colour, anchor in (
        ((12, 30), "yaw +: to the right,", BLUE, "start"), ((12, 52), "clockwise from above", BLUE, "start"),
        ((468, 76), "pitch +: upward", ORANGE, "end"), ((468, 262), "roll +: the right", RED, "end"),
        ((468, 284), "side hangs low", RED, "end"), ((240, 98), "pan axis", BLUE, "start"),
        ((306, 312), "tilt axis", ORANGE, "start"), ((12, 392), "no-parallax point:", RED, "start"),
        ((12, 414), "where the axes meet", RED, "start"), ((300, 440), "tripod", GREY, "start"),
    ):  # fmt: skip
        shown.text(*place, words, colour, anchor)
    shown.line(np.array([(90, 374), (219, 241)]), RED, 1)


def parallax() -> Picture:
    """A near and a far mark before and after the camera turns, for a lens too far ahead and too far back."""
    focal_px = FOCAL_MM / PIXEL_UM * 1000
    shift = shift_px(OFF_MM, focal_px, NEAR_MM, FAR_MM, TURN_DEG)
    back = shift_px(-OFF_MM, focal_px, NEAR_MM, FAR_MM, TURN_DEG)
    shown = Picture(PAPER, 590, "Which way to slide the camera",
                    "Three pictures of a near and a far mark. In line at first, in the middle. After the head has "
                    "turned left, both are in the right half. If the near mark is right of the far one, the lens is "
                    "too far ahead: slide the camera back. If it is left of it, slide the camera forward.")  # fmt: skip
    told = (
        ("1. Line up both marks in the middle.", ("near and far mark in line",), 0.0, 0.5, INK),
        (f"2. Turn the head left by {TURN_DEG:g}°. Near mark right of far:",
         ("slide the camera BACK", f"it is {OFF_MM:g} mm too far", f"ahead at +{shift:.0f} pixels"), shift, 0.77, BLUE),
        ("Or: near mark left of far:",
         ("slide the camera FORWARD", f"it is {OFF_MM:g} mm too far", f"back at −{-back:.0f} pixels"), back, 0.77,
         ORANGE),
    )  # fmt: skip
    for number, (heading, words, off_px, share, colour) in enumerate(told):
        top = 52.0 + 180 * number
        shown.text(16, top - 16, heading, INK, "start")
        shown.box(16, top, 190, 124, GREY)
        far_x = 16 + 190 * share
        shown.line(np.array([(far_x, top + 20), (far_x, top + 66)]), GREY, 3)
        near_x = far_x + 1.5 * off_px
        shown.line(np.array([(near_x, top + 66), (near_x, top + 124)]), RED, 6)
        if not off_px:
            shown.text(far_x + 10, top + 44, "far", GREY, "start")
            shown.text(near_x + 10, top + 104, "near", RED, "start")
        shown.told(222, top + 46, tuple((colour if not line else INK, text) for line, text in enumerate(words)))
    shown.text(16, 574, f"{FOCAL_MM:g} mm lens, marks at 1 m and 50 m; shift enlarged", GREY, "start")
    return shown


def legs() -> Picture:
    """The three feet from above, where the axis leans, and how far to raise each leg."""
    found = legs_to_raise(LEAN_DEG, TOWARD_DEG, FIRST_LEG_DEG, LEG_MM)
    told = ", ".join(f"the leg at yaw {leg.yaw_deg:.0f}° by {leg.raise_mm:.1f} mm" for leg in found)
    shown = Picture(PAPER, 460, "Which leg to raise",
                    f"The tripod from above, yaw 0 at the top. The pan axis leans by {LEAN_DEG:.2f}° toward yaw "
                    f"{TOWARD_DEG:.0f}°. Raise {told}.")  # fmt: skip
    middle, radius = np.array([240.0, 236.0]), 140.0

    def at(yaw_deg: float, far: float) -> Array:
        turn = math.radians(yaw_deg)
        place: Array = middle + far * np.array([math.sin(turn), -math.cos(turn)])
        return place

    shown.line(np.array([at(yaw, radius) for yaw in range(0, 361, 5)]), GREY, 1, dash="3 4")
    for yaw in range(0, 360, 90):
        x, y = at(yaw, radius + 24)
        shown.text(x, y + (34 if yaw % 180 else 6), f"yaw {yaw}°", GREY)
    for leg in found:
        foot = at(leg.yaw_deg, radius)
        shown.line(np.array([middle, foot]), INK, 5)
        raised = leg.raise_mm > 0.05
        shown.dot(foot[0], foot[1], 9, BLUE if raised else INK, BLUE if raised else GROUND)
        x, y = at(leg.yaw_deg, radius * 0.62) + np.array([-14, -14] if leg.yaw_deg > 180 else [22, 20])
        words = f"raise {leg.raise_mm:.1f} mm" if raised else "leave it"
        shown.text(x, y, words, BLUE if raised else INK, "end" if leg.yaw_deg > 180 else "start")
    tip = at(TOWARD_DEG, radius * 0.72)
    shown.arrow(middle[0], middle[1], tip[0], tip[1], RED, 3)
    shown.dot(middle[0], middle[1], 6, INK, INK)
    shown.text(tip[0] - 50, tip[1] + 22, f"leans {LEAN_DEG:.2f}° toward {TOWARD_DEG:.0f}°", RED)
    shown.text(
        240, 444, f"feet {LEG_MM:g} mm from the axis, one at yaw {FIRST_LEG_DEG:g}°; seen from above", GREY, size=15
    )
    return shown


def balance() -> Picture:
    """Balancing the tilt axis with the lens level and straight up, and the weight over the tripod."""
    shown = Picture(PAPER, 640, "Balance of camera and tripod",
                    "Three pictures from the side. With the lens level, slide the camera along its plate until the "
                    "weight is below or above the tilt axis. With the lens straight up, move the bracket until it "
                    "stays. The weight of everything must be over the middle of the feet.")  # fmt: skip
    shown.text(16, 30, "1. Lens level: slide the camera along its plate", INK, "start")
    _camera_from_side(shown, 150, 106, upward=False)
    shown.arrow(112, 168, 66, 168, BLUE, 2.5)
    shown.arrow(132, 168, 178, 168, BLUE, 2.5)
    shown.told(
        260, 96, ((ORANGE, "tilt axis"), (RED, "centre of gravity:"), (RED, "bring it above or"), (RED, "below the axis"))
    )
    shown.text(16, 222, "2. Lens straight up: move the bracket", INK, "start")
    _camera_from_side(shown, 130, 312, upward=True)
    shown.arrow(108, 398, 62, 398, BLUE, 2.5)
    shown.arrow(128, 398, 174, 398, BLUE, 2.5)
    shown.told(260, 300, ((RED, "bring it onto the axis:"), (INK, "then the camera stays"), (INK, "at every pitch")))
    shown.text(16, 440, "3. All of it: over the middle of the feet", INK, "start")
    for x in (70, 130, 190):
        shown.line(np.array([(130, 510), (x, 610)]), INK, 4)
    shown.box(104, 496, 52, 14, INK)
    shown.box(96, 462, 68, 34, INK)
    shown.dot(142, 478, 6, RED, RED)
    shown.line(np.array([(142, 484), (142, 610)]), RED, 1.5, dash="5 4")
    shown.line(np.array([(40, 612), (230, 612)]), GREY, 2)
    shown.told(260, 516, ((RED, "its plumb line must"), (RED, "fall well inside"), (RED, "the three feet")))
    return shown


def _camera_from_side(shown: Picture, x: float, y: float, *, upward: bool) -> None:
    """Camera, plate, tilt axis and centre of gravity; the weight is off the axis, along the lens or across it."""
    body = np.array([(-46, -34), (10, -34), (10, 30), (-46, 30)])
    lens = np.array([(10, -24), (66, -24), (66, 20), (10, 20)])
    plate = np.array([(-60, 30), (70, 30), (70, 40), (-60, 40)])
    weight = np.array([(14.0, -4.0)])
    if upward:
        body, lens, plate, weight = (np.stack([part[:, 1], -part[:, 0]], axis=1) for part in (body, lens, plate, weight))
    at = np.array([x, y])
    for part in (plate, body, lens):
        shown.solid(part + at, INK, GROUND, 1.8)
    shown.dot(x, y + 14 if not upward else y, 7, ORANGE, GROUND)
    weight_x, weight_y = weight[0] + at
    shown.dot(weight_x if not upward else weight_x - 14, weight_y, 5, RED, RED)
