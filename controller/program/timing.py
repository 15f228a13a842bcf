"""The duration of motions, settling and messages on the wire. All in integer nanoseconds."""

import math
from functools import lru_cache

import numpy as np

from controller.kit.kit import Axis, Kit
from controller.kit.line import BITS_PER_BYTE, TRIES, retry_ns
from controller.shaping.rig import modes_of
from controller.shaping.ringing import RAMP_CHANGES, band_of, most_left
from protocol.codec import frame_of
from protocol.messages import Message
from protocol.units import MS, NS

# How far the picture may move during an exposure, peak to peak, by what is known of the rig. Half a pixel counts as
# still; the rest is for what the samples of a band leave between them.
SETTLED_PX = 0.48
STOPPED_CHANGES = RAMP_CHANGES + 3
# What a deadline adds to the expected time: a share, and a minimum for the host's own delays. Common practice, no source:
# long enough never to expire on a sound rig, short enough to notice a dead motor within seconds.
MARGIN_SHARE = 0.25
MARGIN_NS = NS
# Opening a port restarts many boards, which do not answer until their boot loader has given up. Common practice, no
# source.
BOOT_NS = 4 * NS


def motion_ns(distance_steps: float, speed: float, accel: float) -> int:
    """Time of a move from rest to rest, ramps included; steps, steps/s, steps/s^2.

    T = d/V + V/A when d A >= V^2, else 2 sqrt(d/A) (Biagiotti and Melchiorri 2008, section 3.2).
    """
    distance = abs(distance_steps)
    if distance * accel >= speed * speed:
        return round((distance / speed + speed / accel) * NS)
    return round(2 * math.sqrt(distance / accel) * NS)


def axis_speed(axis: Axis, max_step_rate_hz: int) -> int:
    """The axis's highest speed in whole steps per second, limited by the board's step rate."""
    return max(1, min(round(axis.max_speed_deg_s * axis.steps_per_degree), max_step_rate_hz))


def axis_accel(axis: Axis) -> int:
    """The axis's highest acceleration in whole steps per second squared."""
    return max(1, round(axis.max_accel_deg_s2 * axis.steps_per_degree))


def ring_down_s(swing: float, wanted: float, ring_hz: float, ring_damping: float) -> float:
    """Seconds until a swing, peak to peak, has decayed to `wanted`, both in one unit; 0 if it is below that already.

    It decays as exp(-z w t), so t = ln(swing / wanted) / (z w) (Thomson and Dahleh, *Theory of Vibration*, section 2.6).
    """
    if swing <= wanted:
        return 0.0
    return math.log(swing / wanted) / (ring_damping * 2 * math.pi * ring_hz)


def stop_settle_ns(kit: Kit) -> int:
    """How long the picture may move after the head was stopped in the middle of a move, or shaken; the kit's own figure
    if it has one.

    A ramp, shaped or not, changes the acceleration by at most 4 a in all; a stop goes from at most +a to -a and to 0.
    """
    head = kit.head
    if head.settle_ms is not None:
        return round(head.settle_ms * MS)
    still_deg = SETTLED_PX * math.degrees(kit.field(0.0).pixel_rad)
    waits_s = [0.0]
    for axis in (head.pan, head.tilt):
        band = band_of(modes_of(head, axis))
        swing_deg = most_left(band, np.array(axis.max_accel_deg_s2)) * STOPPED_CHANGES / RAMP_CHANGES
        too_much = 2 * swing_deg * math.sqrt(2) * len(band.omega) / still_deg  # axes in quadrature, modes added
        waits_s.append(float(np.max(np.log(np.maximum(too_much, 1.0)) / band.rate)))
    return round(max(waits_s) * NS)


@lru_cache(maxsize=64)
def wire_ns(message: Message, baud: int) -> int:
    """Time that one message takes on the wire, 8N1: ten bit times for each byte."""
    return len(frame_of(message, 1)) * BITS_PER_BYTE * NS // baud


def hello_tries(baud: int) -> int:
    """How often to repeat Hello: for the time of a restart, plus as often as any other request."""
    return math.ceil(BOOT_NS / retry_ns(baud)) + TRIES


def deadline_ns(expected_ns: int, baud: int) -> int:
    """The deadline for something that should take `expected_ns`.

    It allows for a dead line to be noticed first, both when sending the command and when asking for its end.
    """
    return expected_ns + round(expected_ns * MARGIN_SHARE) + MARGIN_NS + 2 * TRIES * retry_ns(baud)
