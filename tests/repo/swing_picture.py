"""The picture of a camera that swings after a move: a plain ramp against a shaped one, on the same time axis.

The ramps, the impulses and the waits are the program's own. The swing is an oscillator driven by the acceleration, by
scipy.signal.lsim: for the stated frequency as a line, for all that the kit allows as a band around it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy import signal

from controller.kit.kit import Camera, Exposure, Kit, Lens
from controller.planning.directions import Array
from controller.program.neighbour import neighbour_move, neighbour_ramps
from protocol.ramp import changes, ramp_of
from tests.repo.canvas import BLUE, GREY, INK, ORANGE, PAPER, RED, Picture

UNTIL_S, STEP_S, EVERY = 4.6, 0.001, 10
SHUTTER_S = 0.25
STILL_PX = 0.5
LEFT, RIGHT, PIXEL = 26.0, 462.0, 13.0
SHOWN_PX = 0.1  # a narrower band is not seen
HIGH = 610


@dataclass(frozen=True, slots=True)
class Swing:
    """A move in time: the speed of pan in degrees per second, and the swing of the picture in pixels."""

    speed_deg_s: Array
    stated_px: Array
    lowest_px: Array
    highest_px: Array
    arrives_s: float
    opens_s: float
    impulses: int


def kit() -> Kit:
    """The tutorial's camera with a longer lens, and a shutter that is open for longer than a swing takes."""
    camera = Camera(sensor_width_mm=36.0, sensor_height_mm=24.0, pixels_wide=6000, pixels_high=4000)
    return Kit(camera=camera, lens=Lens(focal_length_mm=50.0), exposure=Exposure(shutter_seconds=SHUTTER_S))


def times_s() -> Array:
    """The moments at which a swing is computed."""
    return np.arange(0, UNTIL_S, STEP_S)


def swing(rig: Kit, *, shaped: bool) -> Swing:
    """The move to the next frame on a board that shapes its ramps, or does not."""
    (first, *_), (pan, _) = neighbour_ramps(rig, shaped=shaped)
    move = neighbour_move(rig, shaped=shaped)
    ramp = ramp_of(first.stops[-1][0], pan.speed_steps_s, pan.accel_steps_s2)
    accel = np.zeros(len(times_s()))
    for at_ms, change in changes(ramp, pan.shaper):
        accel[at_ms:] += change / pan.steps_per_degree
    per_pixel = math.degrees(rig.field(0.0).pixel_rad)
    head = rig.head
    hz = head.ring_hz * np.linspace(1 - head.ring_hz_within, 1 + head.ring_hz_within, 9)
    damping = head.ring_damping * np.linspace(1 - head.ring_damping_within, 1 + head.ring_damping_within, 3)
    all_px = np.array([_oscillator(accel, *mode) for mode in product(hz, damping)]) / per_pixel
    stated_px = _oscillator(accel, head.ring_hz, head.ring_damping) / per_pixel
    opens_s = move.turning_s + move.wait_s
    after = all_px[:, round(opens_s / STEP_S) :]
    if np.ptp(after, axis=1).max() > STILL_PX:
        raise ValueError("this picture says that the swing is below half a pixel when the shutter opens")
    return Swing(np.cumsum(accel) * STEP_S, stated_px, all_px.min(axis=0), all_px.max(axis=0), move.turning_s, opens_s,
                 len(pan.shaper.impulses))  # fmt: skip


def _oscillator(accel: Array, hz: float, damping: float) -> Array:
    """How far the camera hangs behind its mount, in the unit of the acceleration."""
    omega = 2 * math.pi * hz
    system = ([-1.0], [1.0, 2 * damping * omega, omega**2])
    _, behind, _ = signal.lsim(system, accel, times_s(), interp=False)
    hangs: Array = behind
    return hangs


def swing_picture() -> Picture:
    """How the picture swings after a move to the next frame, plain and shaped, and when the shutter may open."""
    rig = kit()
    plain, shaped = swing(rig, shaped=False), swing(rig, shaped=True)
    shown = Picture(PAPER, HIGH, "A plain ramp and a shaped one",
                    f"Three curves over {UNTIL_S:g} seconds. The head's speed: a gentle plain ramp, and a steep one "
                    f"whose ramps have {shaped.impulses} parts. After the plain ramp the picture swings on, and the "
                    f"shutter may open after {plain.opens_s:.2f} seconds. After the shaped ramp it hardly swings, and "
                    f"the shutter may open at once, after {shaped.opens_s:.2f} seconds.")  # fmt: skip
    _speeds(shown, plain, shaped)
    for y, each, colour, words in ((290.0, plain, ORANGE, "plain ramp"), (480.0, shaped, BLUE, "shaped ramp")):
        _swing_panel(shown, y, each, colour, words)
    least, most = (rig.head.ring_hz * (1 + sign * rig.head.ring_hz_within) for sign in (-1, 1))
    shown.text(RIGHT, 364, f"line: {rig.head.ring_hz:g} Hz; shaded: {least:g} to {most:g} Hz", GREY, "end", 16)
    for second in range(int(UNTIL_S) + 1):
        shown.text(_x(second), HIGH - 14, f"{second} s", GREY, size=16)
    return shown


def _x(at_s: float) -> float:
    return LEFT + (RIGHT - LEFT) * at_s / UNTIL_S


def _curve(values: Array, moments: Sequence[int], y: float, scale: float) -> Array:
    """The values at these numbers of a moment, upward from `y`, as points of the picture."""
    points: Array = np.array([(_x(moment * STEP_S), y - scale * values[moment]) for moment in moments])
    return points


def _speeds(shown: Picture, plain: Swing, shaped: Swing) -> None:
    y0, high = 165.0, 4.0
    shown.text(LEFT, 30, "how fast the head turns", INK, "start")
    shown.line(np.array([(LEFT, y0), (RIGHT, y0)]), GREY, 1)
    for each, colour, dash in ((plain, ORANGE, "7 4"), (shaped, BLUE, "")):
        moments = range(0, round(each.arrives_s / STEP_S), 2 * EVERY)
        shown.line(_curve(each.speed_deg_s, moments, y0, high), colour, 2, dash=dash)
    shown.text(_x(plain.arrives_s) + 6, y0 - 30, "plain: gentle", ORANGE, "start", 16)
    shown.text(_x(shaped.arrives_s) + 6, y0 - 72, f"shaped: steep, in {shaped.impulses} parts", BLUE, "start", 16)


def _swing_panel(shown: Picture, y: float, each: Swing, colour: str, words: str) -> None:
    shown.text(LEFT, y - 82, f"how the picture swings: {words}", INK, "start")
    shown.line(np.array([(LEFT, y), (RIGHT, y)]), GREY, 1)
    moments = range(0, len(each.stated_px), EVERY)
    seen = range(0, np.flatnonzero(each.highest_px - each.lowest_px > SHOWN_PX)[-1], EVERY)
    above, below = (_curve(side, seen, y, PIXEL) for side in (each.highest_px, each.lowest_px))
    shown.area(np.concatenate([above, below[::-1]]), colour, 0.25)
    shown.line(_curve(each.stated_px, moments, y, PIXEL), colour, 1.6)
    opens = _x(each.opens_s)
    shown.line(np.array([(opens, y - 72), (opens, y + 60)]), RED, 2, dash="6 4")
    side, anchor = (8, "start") if opens < (LEFT + RIGHT) / 2 else (-8, "end")
    shown.text(opens + side, y - 58, f"from {each.opens_s:.2f} s", RED, anchor, 16)
    shown.text(opens + side, y - 40, "the shutter may open", RED, anchor, 16)
    shown.line(np.array([(LEFT - 12, y - 2.5 * PIXEL), (LEFT - 12, y + 2.5 * PIXEL)]), INK, 2)
    shown.text(LEFT - 18, y + 2.5 * PIXEL + 18, "5 pixels", INK, "start", 16)
