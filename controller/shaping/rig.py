"""How a kit's head rings, as modes: which axis, at which pitch, and how well it is known."""

import numpy as np

from controller.kit.kit import Axis, Head
from controller.shaping.ringing import Array, Band, Mode, band_of


def modes_of(head: Head, axis: Axis, pitch_deg: float | None = None) -> tuple[Mode, ...]:
    """The modes that a motion of `axis` excites, with the camera at `pitch_deg`; None: at any pitch.

    The axis's own figures count before those of the head. A second mode of the head belongs to both axes.
    """
    low_hz, high_hz = _hz(axis, pitch_deg) or (axis.ring_hz or head.ring_hz,) * 2
    middle_hz = (low_hz + high_hz) / 2
    spread = (high_hz * (1 + head.ring_hz_within) - middle_hz) / middle_hz
    damping = axis.ring_damping or head.ring_damping
    modes = [Mode(middle_hz, damping, spread, head.ring_damping_within)]
    if head.second_ring_hz is not None:
        second = head.second_ring_damping or damping
        modes.append(Mode(head.second_ring_hz, second, head.ring_hz_within, head.ring_damping_within))
    return tuple(modes)


def band_of_head(head: Head, pitches_deg: Array) -> Band:
    """The same modes as a band (2 axes, modes, motions, n), for motions with the camera at these pitches.

    The motions are one if no mode depends on the pitch.
    """
    axes = (head.pan, head.tilt)
    unique, which = np.unique(pitches_deg if any(axis.ring_over_pitch for axis in axes) else [0.0], return_inverse=True)
    bands = [[band_of(modes_of(head, axis, pitch_deg)) for pitch_deg in unique.tolist()] for axis in axes]

    def gathered(name: str) -> Array:
        whole = np.array([[getattr(band, name) for band in of_axis] for of_axis in bands])  # axes, pitches, modes, n
        ordered: Array = np.moveaxis(whole, 1, 2)
        return ordered if len(unique) == 1 else ordered[:, :, which]

    return Band(gathered("omega"), gathered("ratio"), gathered("half_omega"))


def _hz(axis: Axis, pitch_deg: float | None) -> tuple[float, float] | None:
    """Lowest and highest frequency of the table at that pitch; between its rows it is a straight line."""
    if not axis.ring_over_pitch:
        return None
    pitches, hzs = np.array(axis.ring_over_pitch).T
    if pitch_deg is None:
        return float(hzs.min()), float(hzs.max())
    hz = float(np.interp(pitch_deg, pitches, hzs))
    return hz, hz
