"""The true record of each exposure, with every pose of the camera while its shutter was open."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from protocol.units import NS
from sim.camera import Opening
from sim.head import SimulatedHead
from sim.lean import leaned, leaned_roll
from sim.scene.render import HeldPose
from sim.truth import STILL_PX, Truth

POSES_PER_SWING = 16
MOST_POSES = 400
MOST_ACROSS = 64


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """One exposure: when the shutter opened, for how long, and angles (n, 2) of pan and tilt at even intervals in that
    time.

    The base leans by `lean[0]` degrees toward the yaw `lean[1]`.
    """

    frame: int
    exposure: int
    open_ns: int
    shutter_s: float
    angles_deg: NDArray[np.float64]
    lean: tuple[float, float] = (0.0, 0.0)

    def aim(self, pan_deg: float, tilt_deg: float, weight: float = 1.0) -> HeldPose:
        """The pose of the camera, including roll, with the axes at these angles."""
        yaw_deg, pitch_deg = leaned(pan_deg, tilt_deg, *self.lean)
        return HeldPose(yaw_deg, pitch_deg, weight, leaned_roll(pan_deg, tilt_deg, *self.lean))


class Film(Truth):
    """The record of what was truly exposed, including the camera's motion during each exposure."""

    def __init__(self) -> None:
        super().__init__()
        self.views: list[View] = []

    def record(self, head: SimulatedHead, opening: Opening) -> None:
        """Record an opening of the shutter, and the angles between opening and closing."""
        super().record(head, opening)
        begin, end = opening.open_ns, opening.close_ns
        count = 1
        if head.motion_bound_px(begin) >= STILL_PX:
            swings = (end - begin) / NS * head.ringing.fastest_hz
            count = min(MOST_POSES, max(POSES_PER_SWING, math.ceil(POSES_PER_SWING * swings)))
        # The middle of each of `count` equal parts of the time; a single part has the middle of the exposure.
        moments = [begin + (end - begin) * (2 * i + 1) // (2 * count) for i in range(count)]
        angles, label = np.array([head.angles_deg(moment) for moment in moments]), opening.label
        self.views.append(View(label.frame, label.exposure, begin, opening.shutter_s, angles, head.lean))


def aims_of(view: View, pixel_deg: float) -> tuple[HeldPose, ...]:
    """The poses of an exposure for pixels of `pixel_deg`: a single one if the picture moved by less than half a pixel.

    Otherwise poses within half a pixel of one another are combined, weighted by their number, so that slow parts of the
    motion count for as long as they lasted. Longer motions are divided into up to MOST_ACROSS parts.
    """
    angles = view.angles_deg
    extent = float(np.hypot(*np.ptp(angles, axis=0)))
    if extent <= pixel_deg / 2:
        return (view.aim(*np.mean(angles, axis=0).tolist()),)
    grain = max(pixel_deg / 2, extent / MOST_ACROSS)
    cells = np.floor((angles - angles.min(axis=0)) / grain).astype(int)
    _, which, counts = np.unique(cells, axis=0, return_inverse=True, return_counts=True)
    which = which.ravel()
    means = [np.bincount(which, angles[:, axis]) / counts for axis in (0, 1)]
    return tuple(
        view.aim(pan, tilt, float(count))
        for pan, tilt, count in zip(means[0].tolist(), means[1].tolist(), counts.tolist(), strict=True)
    )
