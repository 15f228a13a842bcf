"""The sun's position while the set is shot, from the astral library (public formulas of the NOAA).

Checked against the worked example of I. Reda and A. Andreas, Solar Energy 76:577, 2004. A hundredth of a degree is far
more than a warning needs.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from controller.planning.cores import Cores
from controller.planning.directions import Array, camera_axes
from controller.planning.size import must_end

MOST_LOOKS = 20_000  # positions computed: one a minute for two weeks; after that its path is much the same


@dataclass(frozen=True, slots=True)
class Sun:
    """The sun's azimuth (clockwise from north) and altitude above the horizon, degrees."""

    azimuth_deg: float
    altitude_deg: float


def sun_at(latitude_deg: float, longitude_deg: float, moment: datetime) -> Sun:
    """The sun's position seen from a place (north and east positive) at a moment with a time zone."""
    from astral import Observer  # noqa: PLC0415  few plans say when they are shot
    from astral.sun import azimuth, elevation  # noqa: PLC0415

    place = Observer(latitude=latitude_deg, longitude=longitude_deg)
    return Sun(azimuth(place, moment), elevation(place, moment))


def sun_direction(sun: Sun, north_yaw_deg: float) -> Array:
    """The sun's direction for a head that looks north at a yaw of `north_yaw_deg`, shape (3,)."""
    yaw = np.radians([sun.azimuth_deg + north_yaw_deg])
    forward: Array = camera_axes(yaw, np.radians([sun.altitude_deg])).forward[0]
    return forward


def frames_with_sun(
    pictures: Cores,
    latitude_deg: float,
    longitude_deg: float,
    start: datetime,
    seconds: float,
    north_yaw_deg: float,
) -> list[int]:
    """Numbers of the frames that see the sun at any time within `seconds` of `start`; none while it is down."""
    must_end(seconds)
    held: set[int] = set()
    steps = min(MOST_LOOKS, max(2, int(seconds // 60) + 1))
    for i in range(steps):
        sun = sun_at(latitude_deg, longitude_deg, start + timedelta(seconds=seconds * i / (steps - 1)))
        if sun.altitude_deg < -0.9:  # below the horizon, including refraction and the sun's radius
            continue
        margins = pictures.margin_rad(sun_direction(sun, north_yaw_deg)[None])[0]
        held |= set(np.flatnonzero(margins > -np.radians(0.3)).tolist())  # the sun's own radius
    return sorted(held)
