"""The band of one complete row, compared with the independent oracle."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.planning.bands import fronts
from tests.controller.planning import oracle
from tests.controller.planning.examples import field_of, row_bands
from tests.controller.planning.oracle import Array

POLES = (-np.pi / 2, np.pi / 2)
COUNTS, PITCHES = st.integers(2, 24), st.floats(-90, 90)
FOCALS, MARGINS = st.floats(6, 60), st.floats(0, 1)


def row_margins(focal: float, count: int, pitch_deg: float, latitudes: Array) -> Array:
    """The smallest margin at each latitude in a frame at yaw 0, from its meridian to the seam with the next."""
    field = field_of(focal)
    pose = oracle.pose_rotations(np.array([0.0]), np.array([pitch_deg]))
    planes = oracle.edge_planes(pose, field.core_half_width_rad, field.core_half_height_rad)
    yaws = np.linspace(0, np.pi / count, 33)
    lat, yaw = np.meshgrid(latitudes, yaws, indexing="ij")
    towards = np.stack([np.cos(lat) * np.cos(yaw), np.cos(lat) * np.sin(yaw), np.sin(lat)], axis=-1)
    sines = np.einsum("lyc,ec->lye", towards, planes[0]).min(axis=2)
    lowest: Array = np.arcsin(np.clip(sines, -1, 1)).min(axis=1)
    return lowest


def closed(focal: float, count: int, pitch_deg: float, margin_rad: float) -> tuple[float, float]:
    low, high = row_bands(field_of(focal), count, np.radians([pitch_deg]), margin_rad)
    return float(low[0]), float(high[0])


@settings(max_examples=300)
@given(FOCALS, COUNTS, PITCHES, MARGINS)
def test_every_yaw_in_the_band_is_held(focal: float, count: int, pitch_deg: float, margin_deg: float) -> None:
    margin = np.radians(margin_deg)
    low, high = closed(focal, count, pitch_deg, margin)
    if low < high:
        assert row_margins(focal, count, pitch_deg, np.linspace(low, high, 9)).min() > margin - 1e-7


@settings(max_examples=300)
@given(FOCALS, COUNTS, PITCHES, MARGINS)
def test_just_outside_the_band_some_yaw_is_not_held(
    focal: float, count: int, pitch_deg: float, margin_deg: float
) -> None:
    margin = np.radians(margin_deg)
    low, high = closed(focal, count, pitch_deg, margin)
    if low < high:
        outside = [latitude for latitude in (low - 1e-4, high + 1e-4) if abs(latitude) < np.pi / 2]
    else:
        outside = list(np.linspace(-np.pi / 2, np.pi / 2, 40))
    for latitude in outside:
        assert row_margins(focal, count, pitch_deg, np.array([latitude]))[0] < margin + 1e-7


@given(FOCALS, COUNTS, PITCHES, MARGINS)
def test_the_band_turned_over(focal: float, count: int, pitch_deg: float, margin_deg: float) -> None:
    low, high = closed(focal, count, pitch_deg, np.radians(margin_deg))
    turned_low, turned_high = closed(focal, count, -pitch_deg, np.radians(margin_deg))
    if low < high:
        assert (turned_low, turned_high) == pytest.approx((-high, -low), abs=1e-9)
    else:
        assert turned_low >= turned_high - 1e-9


@pytest.mark.parametrize("focal", [8.0, 24.0, 60.0])
def test_one_frame_at_the_zenith_closes_its_inscribed_cap(focal: float) -> None:
    field = field_of(focal)
    low, high = closed(focal, 1, 90.0, 0.0)
    assert low == pytest.approx(np.pi / 2 - min(field.core_half_width_rad, field.core_half_height_rad), abs=1e-9)
    assert high == np.pi / 2


def test_too_few_frames_close_nothing() -> None:
    low, high = closed(24.0, 3, 0.0, 0.0)
    assert low > high


def test_no_front_begins_below_its_lowest() -> None:
    (front, *_) = fronts(field_of(24.0), 0.0, 2 * np.pi, POLES)
    assert front.reach(np.array(front.low[0] - 1e-6)) == -np.inf


def test_a_margin_larger_than_the_core_leaves_nothing() -> None:
    field = field_of(24.0)
    assert fronts(field, field.core_half_width_rad, 2 * np.pi, POLES) == []
