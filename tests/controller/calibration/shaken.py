"""Readings of simulated heads after moves without and with a shaper: the simulator is the truth."""

from __future__ import annotations

import numpy as np

from controller.calibration.records import AxisName
from controller.calibration.settle_moves import MeasuredMove, MoveReadings
from controller.optics.outline import Array
from protocol.shaper import PLAIN, Shaper
from protocol.units import NS
from sim.axis import AxisSpec
from sim.head import HeadSpec, SimulatedHead
from sim.shaped import shaped

PER_DEGREE, SPEED, ACCEL = 320.0, 3200, 12_800
NOISE_DEG = 0.0003


def after_move(
    shaper: Shaper,
    hz: float,
    damping: float,
    *,
    seed: int = 0,
    noise_deg: float = NOISE_DEG,
    steps: int = 50,
    pitch_deg: float = 0.0,
    extra: Array | None = None,
) -> MoveReadings:
    """The pan axis of a simulated head, read for ten swings; `extra` is added to what the sensor reads."""
    head = SimulatedHead(HeadSpec(AxisSpec(PER_DEGREE), AxisSpec(PER_DEGREE), hz, damping, pixel_deg=0.01), 0, 0)
    head.pan.begin(shaped(0, 0, steps, SPEED, ACCEL, shaper))
    time_s = times_of(hz)
    value = np.array([head.pose_deg(head.pan.motion.end_ns + round(t * NS))[0] for t in time_s])
    value += np.random.default_rng(seed).normal(0, noise_deg, len(time_s))
    move = MeasuredMove(AxisName.PAN, pitch_deg, shaper)
    return MoveReadings(move, move.text(), time_s, value if extra is None else value + extra)


def times_of(hz: float) -> Array:
    """Twenty readings a swing, for ten swings."""
    return np.asarray(np.arange(200) / (20 * hz))


def pair_of(shaper: Shaper, hz: float, damping: float, seed: int = 0) -> tuple[MoveReadings, MoveReadings]:
    """Readings after the same move without and with the shaper."""
    return after_move(PLAIN, hz, damping, seed=seed), after_move(shaper, hz, damping, seed=seed + 1)
