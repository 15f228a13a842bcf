"""What the photographer asks of a plan."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Literal

from controller.errors import InputError
from controller.planning.order import Order
from controller.planning.region import Bounds


class Arrangement(StrEnum):
    """How freely frames may be placed."""

    ROWS = "rows"
    """Complete rows, equally spaced."""
    FEWEST = "fewest"
    """Any poses, as few as can be found."""


class RegionKind(StrEnum):
    """Which part of the sphere to cover."""

    SPHERE = "sphere"
    BAND = "band"
    WINDOW = "window"
    SINGLE_ROW = "single-row"


@dataclass(frozen=True, slots=True)
class SunWatch:
    """The location and time, and what to do with frames that see the sun: leave them, or shoot them first or last."""

    latitude_deg: float
    longitude_deg: float
    start: datetime
    north_yaw_deg: float = 0.0
    when: Literal["any", "first", "last"] = "any"


@dataclass(frozen=True, slots=True)
class Request:
    """All options of a plan; the defaults ask for a full sphere in rows."""

    region: RegionKind = RegionKind.SPHERE
    pitch_from_deg: float | None = None
    pitch_to_deg: float | None = None
    yaw_from_deg: float | None = None
    yaw_to_deg: float | None = None
    row_pitch_deg: float = 0.0
    floor_deg: float | None = None
    arrangement: Arrangement = Arrangement.ROWS
    order: Order = Order.ROWS
    effort_s: float = 10.0
    seed: int = 0
    allow_unreachable: bool = False
    nadir_by_hand: bool = False
    max_frames: int | None = None
    max_seconds: float | None = None
    sun: SunWatch | None = None
    passes: int = 1
    passes_within_deg: float | None = None
    """Shoot only frames within this pitch of the horizon in later passes; None: all frames."""

    def bounds(self) -> Bounds:
        """The region as bounds, limited by the floor.

        Raises InputError for bounds that are missing, reversed or empty.
        """
        if self.region is RegionKind.SINGLE_ROW:
            raise ValueError("a single row has no bounds before it is planned")
        low, high, left, width = -90.0, 90.0, 0.0, 360.0
        if self.region in {RegionKind.BAND, RegionKind.WINDOW}:
            low, high = _given(self.pitch_from_deg, "--pitch-from"), _given(self.pitch_to_deg, "--pitch-to")
            if low >= high:
                raise InputError(f"--pitch-from {low:g} must be less than --pitch-to {high:g}.")
        if self.region is RegionKind.WINDOW:
            left, right = _given(self.yaw_from_deg, "--yaw-from"), _given(self.yaw_to_deg, "--yaw-to")
            width = (right - left) % 360
            if width == 0:
                raise InputError("--yaw-from and --yaw-to are the same: use --region band for the whole turn.")
        if self.floor_deg is not None:
            low = max(low, self.floor_deg)
            if low >= high:
                raise InputError(f"--floor {self.floor_deg:g} leaves nothing of the region, which ends at {high:g}.")
        return Bounds(low, high, left % 360, width)


def _given(value: float | None, option: str) -> float:
    if value is None:
        raise InputError(f"This region needs {option}.")
    return value
