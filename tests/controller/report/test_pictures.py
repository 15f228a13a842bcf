"""What is drawn, against independent geometry."""

from __future__ import annotations

import math

import numpy as np
import pytest
from astropy.wcs import WCS
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from controller.optics.field import Field, Sides, make_field
from controller.optics.projection import LAWS, Projection
from controller.planning.directions import Array, camera_axes
from controller.planning.make import make_plan
from controller.planning.plan import Frame
from controller.report.html import row_lines
from controller.report.sphere_picture import GRID_ACROSS, frames_seeing, outline_directions
from controller.report.timeline_picture import LANES, seconds_by_lane, stretches
from controller.session.session import Happening
from tests.end_to_end.whole_runs import kit_of

NS = 1_000_000_000


def zenithal(code: str, yaw_deg: float, pitch_deg: float) -> WCS:
    """The picture plane of a camera (Calabretta and Greisen, A&A 395:1077, 2002, section 5.1)."""
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = [f"RA---{code}", f"DEC--{code}"]
    wcs.wcs.crval = [yaw_deg, pitch_deg]
    wcs.wcs.crpix = [1, 1]
    wcs.wcs.cdelt = [1, 1]  # yaw grows to the right
    return wcs


def sides_of(right: float, up: float) -> Sides:
    return Sides(right, right, up, up)


def on_the_sphere(field: Field, sides: Sides, yaw_deg: float, pitch_deg: float) -> Array:
    """The outline as yaw and pitch in degrees."""
    axes = np.stack(camera_axes(np.radians([yaw_deg]), np.radians([pitch_deg])))[:, 0]
    x, y, z = (outline_directions(field, sides) @ axes).T
    angles: Array = np.degrees(np.stack([np.arctan2(y, x), np.arctan2(z, np.hypot(x, y))], axis=1))
    return angles


@pytest.mark.parametrize(
    ("code", "projection"),
    [
        ("TAN", "rectilinear"),
        ("ARC", "equidistant"),
        ("ZEA", "equisolid"),
        ("STG", "stereographic"),
        ("SIN", "orthographic"),
    ],
)
@given(st.floats(5, 60), st.floats(5, 50), st.floats(0, 359), st.floats(-89, 89))
@settings(max_examples=30)
def test_the_outline_agrees_with_zenithal_projections(
    code: str, projection: str, right_deg: float, up_deg: float, yaw_deg: float, pitch_deg: float
) -> None:
    kind = Projection(projection)
    law = LAWS[kind]
    right, up = law.radius(math.radians(right_deg)), law.radius(math.radians(up_deg))
    assume(math.hypot(right, up) < 0.99 * law.largest_radius)
    field = make_field(projection=kind, focal_length_mm=1.0, size_mm=(2 * right, 2 * up), pixels=(100, 100), overlap=0.0)
    outline = on_the_sphere(field, sides_of(math.radians(right_deg), math.radians(up_deg)), yaw_deg, pitch_deg)
    plane = np.radians(zenithal(code, yaw_deg, pitch_deg).wcs_world2pix(outline, 0))
    on_side = np.isclose(np.abs(plane[:, 0]), right, atol=1e-8) & (np.abs(plane[:, 1]) <= up + 1e-8)
    on_top = np.isclose(np.abs(plane[:, 1]), up, atol=1e-8) & (np.abs(plane[:, 0]) <= right + 1e-8)
    assert (on_side | on_top).all()
    for corner in ((right, up), (-right, up), (right, -up), (-right, -up)):
        assert np.isclose(plane, corner, atol=1e-8).all(axis=1).any()


# Corner rays of a 24 mm landscape frame on 36 x 24 mm, half-angles 36.8699 and 26.5651 degrees (scipy Rotation).
@pytest.mark.parametrize(
    ("pitch_deg", "yaw", "pitch"), [(0, 36.8699, 21.8014), (30, 50.6014, 43.8700), (60, 84.8961, 55.9923)]
)
def test_corners_of_a_known_frame(pitch_deg: float, yaw: float, pitch: float) -> None:
    field = kit_of(24.0, camera={"mounted": "landscape"}).field(0.0)
    outline = on_the_sphere(field, field.whole, 0.0, pitch_deg)
    assert np.isclose(outline, (yaw, pitch), atol=1e-4).all(axis=1).any()


@pytest.mark.parametrize("focal_length_mm", [12.0, 24.0, 35.0])
def test_as_many_frames_see_a_direction_as_solid_angles_say(focal_length_mm: float) -> None:
    """Mean count = N times solid angle / 4 pi, with 4 asin(sin a/2 sin b/2) for full angles a and b.

    The count weighs each direction by its share of the sphere (Gorski et al., ApJ 622:759, 2005, count equal
    areas instead).
    """
    kit = kit_of(focal_length_mm)
    field = kit.field(0.0)
    frames = make_plan(kit, 0.3).frames
    seen = frames_seeing(field, frames)
    pitch = np.radians(np.linspace(-90, 90, seen.shape[0], endpoint=False) + 180 / GRID_ACROSS)
    weights = np.broadcast_to(np.cos(pitch)[:, None], seen.shape)
    solid_angle = 4 * math.asin(math.sin(field.half_width_rad) * math.sin(field.half_height_rad))
    assert np.average(seen, weights=weights) == pytest.approx(len(frames) * solid_angle / (4 * math.pi), rel=0.01)
    assert seen.min() >= 1  # the plan covers


def test_one_frame_is_seen_where_it_points() -> None:
    field = kit_of(24.0).field(0.0)
    seen = frames_seeing(field, [Frame(id=0, row=0, yaw_deg=90.0, pitch_deg=0.0)])
    columns, rows = np.flatnonzero(seen.any(axis=0)), np.flatnonzero(seen.any(axis=1))
    middle = (90 + 180) * GRID_ACROSS / 360
    assert (columns.min() + columns.max() + 1) / 2 == pytest.approx(middle, abs=0.5)
    assert (rows.min() + rows.max() + 1) / 2 == pytest.approx(seen.shape[0] / 2, abs=0.5)
    wide = np.count_nonzero(seen[seen.shape[0] // 2]) * 360 / GRID_ACROSS
    assert wide == pytest.approx(math.degrees(2 * field.half_width_rad), abs=1.0)


def test_rows_share_at_least_the_overlap_asked_for() -> None:
    for overlap in (0.1, 0.3, 0.5):
        plan = make_plan(kit_of(24.0), overlap)
        lines = row_lines(plan)
        assert sum(line.frames for line in lines) == len(plan.frames)
        assert [line.number for line in lines] == list(range(len(lines)))
        for line in lines:
            if line.frames > 1:
                assert line.step_deg == pytest.approx(360 / line.frames)
                assert line.overlap_percent is not None
                assert line.overlap_percent >= 100 * overlap - 1e-6
            else:
                assert (line.step_deg, line.overlap_percent) == (None, None)


def test_the_overlap_of_a_row_at_the_horizon() -> None:
    """70 mm upright, 15 degree steps: 23.1 % (common practice, no source; the number is arithmetic)."""
    plan = make_plan(kit_of(70.0), 0.2)
    frames = tuple(Frame(id=i, row=0, yaw_deg=15.0 * i, pitch_deg=0.0) for i in range(24))
    (line,) = row_lines(plan.model_copy(update={"frames": frames}))
    assert line.overlap_percent == pytest.approx(23.1, abs=0.05)


HAPPENINGS = [
    Happening(2 * NS, "connecting", "start", 0),
    Happening(3 * NS, "referencing", "armed", 0),
    Happening(8 * NS, "moving", "referenced", 0),
    Happening(10 * NS, "exposing", "waited", 0),
    Happening(11 * NS, "moving", "exposed", 1),
    Happening(15 * NS, "done", "at_rest", 1),
]


def test_stretches_add_up_to_the_time_of_the_run() -> None:
    parts = stretches(HAPPENINGS, ended_s=13.5)
    assert [(part.state, part.start_s, part.seconds) for part in parts] == [
        ("connecting", 0.0, 1.0),
        ("referencing", 1.0, 5.0),
        ("moving", 6.0, 2.0),
        ("exposing", 8.0, 1.0),
        ("moving", 9.0, 4.0),
        ("done", 13.0, 0.5),
    ]
    assert sum(part.seconds for part in parts) == 13.5


def test_lanes_sum_up_their_stretches_and_leave_out_what_never_was() -> None:
    lanes = seconds_by_lane(stretches(HAPPENINGS, 13.0))
    assert lanes == {"finding zero": 5.0, "moving": 6.0, "exposing": 1.0}
    assert set(lanes) <= {name for name, _ in LANES.values()}


def test_nothing_happened() -> None:
    assert stretches([], 5.0) == []
    assert seconds_by_lane([]) == {}
