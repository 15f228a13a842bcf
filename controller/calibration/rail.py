"""The position of the no-parallax point on the rail: a table by focal length, interpolated for zooms."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator

from controller.calibration.records import CalibrationKind, Record, valid
from controller.kit.kit import Kit

SAME_FOCAL = 0.01  # relative difference up to which two focal lengths count as the same setting


@dataclass(frozen=True, slots=True)
class RailReading:
    """One line of the table: the rail's reading with its standard uncertainty."""

    focal_length_mm: float
    rail_mm: float
    u_rail_mm: float


@dataclass(frozen=True, slots=True)
class Reading:
    """The rail's reading to set, and a warning if it is extrapolated."""

    rail_mm: float
    u_rail_mm: float
    warning: str = ""


def rail_table(records: Sequence[Record], kit: Kit) -> tuple[RailReading, ...]:
    """The newest valid position for each focal length of the kit's lens, in order of focal length."""
    places: list[RailReading] = []
    for record in valid(records, CalibrationKind.PARALLAX, None, kit):  # newest first
        focal, rail = record.focal_length_mm, record.values.get("rail_mm")
        if focal is None or rail is None:
            continue
        if all(abs(place.focal_length_mm / focal - 1) > SAME_FOCAL for place in places):
            places.append(RailReading(focal, rail, record.uncertainties.get("u_rail_mm", 0.0)))
    return tuple(sorted(places, key=lambda place: place.focal_length_mm))


def rail_at(table: Sequence[RailReading], focal_length_mm: float) -> Reading:
    """The rail's reading for a focal length; beyond the table, that of its end, with a warning.

    Interpolated by a curve that never overshoots the points (F. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5:300,
    1984, as in scipy). Raises ValueError for an empty table.
    """
    if not table:
        raise ValueError("the table is empty")
    focal = np.array([place.focal_length_mm for place in table])
    rail = np.array([place.rail_mm for place in table])
    within = float(np.clip(focal_length_mm, focal[0], focal[-1]))
    u = float(np.interp(within, focal, [place.u_rail_mm for place in table]))
    at = float(rail[0]) if len(table) == 1 else float(PchipInterpolator(focal, rail)(within))
    if abs(within / focal_length_mm - 1) <= SAME_FOCAL:
        return Reading(at, u)
    span = f"{focal[0]:g} mm" if len(table) == 1 else f"{focal[0]:g} to {focal[-1]:g} mm"
    return Reading(
        at, u, f"{focal_length_mm:g} mm is outside the measured range ({span}); measure there before you rely on it."
    )
