"""The table of places on the rail: exact at measured points, monotone between, a warning beyond."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.calibration.rail import RailReading, rail_at, rail_table
from controller.calibration.records import CalibrationKind, Record, new_record
from controller.kit.load import kit_from_tables
from tests.end_to_end.whole_runs import CAMERA

TABLE = (
    RailReading(24.0, 92.0, 0.3),
    RailReading(35.0, 85.0, 0.2),
    RailReading(50.0, 84.0, 0.4),
    RailReading(70.0, 71.5, 0.5),
)
KIT = kit_from_tables({"camera": dict(CAMERA), "lens": {"focal_length_mm": 24.0}}, "kit")


@pytest.mark.parametrize("place", TABLE)
def test_what_was_measured_comes_back(place: RailReading) -> None:
    reading = rail_at(TABLE, place.focal_length_mm)
    assert reading.rail_mm == pytest.approx(place.rail_mm)
    assert reading.u_rail_mm == pytest.approx(place.u_rail_mm)
    assert not reading.warning


@given(st.floats(24, 70))
def test_between_two_places_it_stays_between_them(focal: float) -> None:
    reading = rail_at(TABLE, focal)
    number = max(0, min(2, int(np.searchsorted([24, 35, 50, 70], focal)) - 1))
    assert TABLE[number + 1].rail_mm - 1e-9 <= reading.rail_mm <= TABLE[number].rail_mm + 1e-9
    assert not reading.warning


@pytest.mark.parametrize(("focal", "end"), [(16.0, 92.0), (100.0, 71.5)])
def test_beyond_the_ends_it_warns(focal: float, end: float) -> None:
    reading = rail_at(TABLE, focal)
    assert reading.rail_mm == end
    assert "24 to 70 mm" in reading.warning


def test_one_place_serves_its_own_focal_length_only() -> None:
    assert not rail_at(TABLE[:1], 24.1).warning
    assert "24 mm" in rail_at(TABLE[:1], 35.0).warning
    with pytest.raises(ValueError, match="empty"):
        rail_at((), 24.0)


def record(at: int, focal: float | None, rail: float | None, *, undone: bool = False) -> Record:
    values = {"offset_mm": 1.0} | ({} if rail is None else {"rail_mm": rail})
    made = f"2026-03-{at:02}T10:00:00+00:00"
    return new_record(
        KIT,
        CalibrationKind.PARALLAX,
        None,
        made,
        values=values,
        uncertainties={},
        how="test",
        focal_length_mm=focal,
        undone=undone,
        id=at,
    )


def test_the_newest_place_for_each_focal_length_counts() -> None:
    kept = [
        record(1, 24.0, 90.0),
        record(2, 24.05, 92.0),
        record(3, 50.0, 80.0),
        record(4, 50.0, 10.0, undone=True),
        record(5, None, 11.0),
        record(6, 35.0, None),
    ]
    assert [(place.focal_length_mm, place.rail_mm) for place in rail_table(kept, KIT)] == [(24.05, 92.0), (50.0, 80.0)]
