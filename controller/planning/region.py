"""The region to cover, and the rest of the sphere as cores that nobody has to photograph."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from controller.planning.cores import Cores
from controller.planning.directions import Array


@dataclass(frozen=True, slots=True)
class Bounds:
    """Directions between two pitches and within a width of yaw; all in degrees.

    `yaw_width_deg` is 360 for the whole turn; otherwise the region extends from `yaw_from_deg` to the right.
    """

    pitch_from_deg: float = -90.0
    pitch_to_deg: float = 90.0
    yaw_from_deg: float = 0.0
    yaw_width_deg: float = 360.0

    def solid_angle_sr(self) -> float:
        """Its solid angle in steradians."""
        low, high = np.radians(self.pitch_from_deg), np.radians(self.pitch_to_deg)
        return float(np.radians(self.yaw_width_deg) * (np.sin(high) - np.sin(low)))

    def holds(self, directions: Array) -> NDArray[np.bool_]:
        """Which of the (k, 3) directions are inside, as booleans."""
        pitch = np.degrees(np.arcsin(np.clip(directions[:, 2], -1, 1)))
        yaw = (np.degrees(np.arctan2(directions[:, 1], directions[:, 0])) - self.yaw_from_deg) % 360
        within = (pitch >= self.pitch_from_deg) & (pitch <= self.pitch_to_deg)
        inside: NDArray[np.bool_] = within & ((yaw <= self.yaw_width_deg) | (self.yaw_width_deg >= 360))
        return inside

    def elsewhere(self) -> Cores | None:
        """The rest of the sphere as cores without a margin; None if there is no rest."""
        pieces: list[tuple[list[Array], list[float]]] = []
        if self.pitch_to_deg < 90:
            pieces.append(([np.array([0.0, 0.0, 1.0])], [90 - self.pitch_to_deg]))
        if self.pitch_from_deg > -90:
            pieces.append(([np.array([0.0, 0.0, -1.0])], [90 + self.pitch_from_deg]))
        if self.yaw_width_deg < 360:
            left, right = np.radians(self.yaw_from_deg), np.radians(self.yaw_from_deg + self.yaw_width_deg)
            beyond_left = np.array([np.sin(left), -np.cos(left), 0.0])
            beyond_right = np.array([-np.sin(right), np.cos(right), 0.0])
            if self.yaw_width_deg >= 180:  # the rest is narrower than half a turn: the intersection of both sides
                pieces.append(([beyond_left, beyond_right], [90.0, 90.0]))
            else:
                pieces += [([beyond_left], [90.0]), ([beyond_right], [90.0])]
        found = None
        for poles, radii in pieces:
            piece = Cores(
                forward=poles[0][None],
                poles=np.array(poles)[None, :, None, :],
                radii=np.radians(radii)[None, :, None],
                reach_rad=np.array([np.pi]),
                shrinks=np.zeros(1, dtype=bool),
            )
            found = piece if found is None else found.joined(piece)
        return found


SPHERE = Bounds()
