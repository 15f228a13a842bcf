"""How a kit's head rings, as modes: which axis, at which pitch, and how well it is known."""

import numpy as np

from controller.kit.kit import Axis, Head
from controller.shaping.ringing import Mode


def modes_of(head: Head, axis: Axis, pitch_deg: float | None = None) -> tuple[Mode, ...]:
    """The modes that a motion of `axis` excites, with the camera at `pitch_deg`; None: at any pitch.

    The axis's own figures count before those of the head. A second mode of the head belongs to both axes.
    """
    low_hz, high_hz = _hz(head, axis, pitch_deg)
    middle_hz = (low_hz + high_hz) / 2
    spread = (high_hz * (1 + head.ring_hz_within) - middle_hz) / middle_hz
    damping = axis.ring_damping or head.ring_damping
    modes = [Mode(middle_hz, damping, spread, head.ring_damping_within)]
    if head.second_ring_hz is not None:
        second = head.second_ring_damping or damping
        modes.append(Mode(head.second_ring_hz, second, head.ring_hz_within, head.ring_damping_within))
    return tuple(modes)


def _hz(head: Head, axis: Axis, pitch_deg: float | None) -> tuple[float, float]:
    """Lowest and highest frequency at that pitch; between the rows of the table it is a straight line."""
    if not axis.ring_over_pitch:
        hz = axis.ring_hz or head.ring_hz
        return hz, hz
    pitches, hzs = np.array(axis.ring_over_pitch).T
    if pitch_deg is None:
        return float(hzs.min()), float(hzs.max())
    hz = float(np.interp(pitch_deg, pitches, hzs))
    return hz, hz
