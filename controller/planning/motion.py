"""What moves of a head cost: turning, with what a shaper adds, and waiting until the camera no longer swings."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from controller.kit.kit import Axis, Kit
from controller.planning.directions import Array
from controller.program.arrival import Approach, Moves, shapers_of
from controller.program.build import axis_settings
from controller.program.course import TAKE_UP
from controller.program.program import AxisSetting, PlannedFrame, Settings

WAITS_GRID = (24, 16)  # distances of pan and tilt


@dataclass(frozen=True, slots=True)
class AxisMotion:
    """How one axis moves: degrees, degrees/s, degrees/s^2.

    `takeup_deg` is its overshoot to take up play, `shaper_s` what its shaper adds to each move.
    """

    speed_deg_s: float
    accel_deg_s2: float
    takeup_deg: float = 0.0
    shaper_s: float = 0.0

    def seconds(self, change_deg: Array) -> Array:
        """Time to turn by `change_deg` from rest to rest (Biagiotti and Melchiorri 2008, section 3.2)."""
        back = np.where(change_deg < 0, self.takeup_deg, 0.0)
        return self._ramp(np.abs(change_deg) + back) + np.where(back > 0, self._ramp(back), 0.0)

    def _ramp(self, distance: Array) -> Array:
        speed, accel = self.speed_deg_s, self.accel_deg_s2
        short = distance * accel < speed * speed
        seconds: Array = np.where(short, 2 * np.sqrt(distance / accel), distance / speed + speed / accel)
        return np.where(distance > 0, seconds + self.shaper_s, 0.0)


@dataclass(frozen=True, slots=True)
class Waits:
    """How long the camera swings after a move: seconds (m, n) for moves of both axes on a grid of distances.

    The grid goes up to `most_deg` (pan, tilt) in squares of equal steps, because short moves differ most.
    """

    most_deg: tuple[float, float]
    seconds: Array

    def after(self, change_deg: Array) -> Array:
        """The waits after moves (..., 2) of pan and tilt; between the points of the grid they are straight lines."""
        shares = np.minimum(np.abs(change_deg) / np.array(self.most_deg), 1.0)
        places = np.moveaxis(np.sqrt(shares), -1, 0) * (np.array(self.seconds.shape) - 1).reshape(
            2, *(1,) * (change_deg.ndim - 1)
        )
        from scipy.ndimage import map_coordinates  # noqa: PLC0415  only orders need it, and it takes time to load

        waits: Array = map_coordinates(self.seconds, places, order=1)
        return waits

    @staticmethod
    def grid(most_deg: float, count: int) -> Array:
        """The distances of the grid along one axis, from 0 to `most_deg`."""
        distances: Array = most_deg * np.linspace(0, 1, count) ** 2
        return distances


@dataclass(frozen=True, slots=True)
class HeadMotion:
    """The motion of both axes, and the waits after it; without any the camera never swings."""

    pan: AxisMotion
    tilt: AxisMotion
    waits: Waits | None = None

    def seconds(self, from_deg: Array, to_deg: Array) -> Array:
        """Time of moves and waits between poses (..., 2) of yaw and pitch in degrees; the two broadcast together."""
        change = to_deg - from_deg
        longest: Array = np.maximum(self.pan.seconds(change[..., 0]), self.tilt.seconds(change[..., 1]))
        return longest if self.waits is None else longest + self.waits.after(change)


def mover_of(kit: Kit, frames: Sequence[PlannedFrame]) -> HeadMotion:
    """What the moves of this kit's head cost, with the ramps and shapers that suit these `frames`.

    A frequency that depends on the pitch counts as with the camera level.
    """
    settings = axis_settings(kit, frames)

    def motion(axis: Axis, setting: AxisSetting) -> AxisMotion:
        per_degree = axis.steps_per_degree
        return AxisMotion(
            setting.speed_steps_s / per_degree,
            setting.accel_steps_s2 / per_degree,
            TAKE_UP * axis.backlash_deg,
            setting.shaper.duration_ms / 1000,
        )

    return HeadMotion(motion(kit.head.pan, settings[0]), motion(kit.head.tilt, settings[1]), _waits(kit, settings))


def _waits(kit: Kit, settings: Settings) -> Waits:
    axes = (kit.head.pan, kit.head.tilt)
    most_deg = (min(360.0, axes[0].max_deg - axes[0].min_deg), axes[1].max_deg - axes[1].min_deg)
    pans, tilts = (
        np.rint(Waits.grid(most, count) * axis.steps_per_degree).astype(int)
        for most, count, axis in zip(most_deg, WAITS_GRID, axes, strict=True)
    )
    if kit.head.settle_ms is not None:
        return Waits(most_deg, np.full(WAITS_GRID, kit.head.settle_ms / 1000))
    exposures = ((0.0, max(kit.exposure.times_s)),)
    approaches = [Approach(((0, 0), (int(pan), int(tilt))), 0.0, exposures) for pan in pans for tilt in tilts]
    waits_s = Moves(kit, settings, approaches).seconds(shapers_of(settings), exposures)[1]
    return Waits(most_deg, waits_s.reshape(WAITS_GRID))
