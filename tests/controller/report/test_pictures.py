"""The drawings, compared with independent geometry."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from astropy.wcs import WCS
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle, Wedge

from controller.capture.states import RunState
from controller.capture.words.run import STATES
from controller.optics.field import make_field
from controller.optics.projection import Projection
from controller.planning.directions import Array
from controller.planning.frame_outlines import outline_directions, outlines_at
from controller.planning.make import make_plan
from controller.planning.plan import Frame
from controller.planning.reached_poses import levelled_poses
from controller.planning.request import RegionKind, Request
from controller.report.drawing import DESK_IN, PHONE_IN
from controller.report.html import row_lines
from controller.report.lanes import LANES, REST, shares, stretches
from controller.report.sphere_picture import (
    GRID_ACROSS,
    frames_seeing,
    pole_picture,
    sphere_picture,
)
from controller.session.rows import Happening
from tests.end_to_end.whole_runs import direction, kit_of

NS = 1_000_000_000


# The projections as zenithal projections (Calabretta and Greisen, A&A 395:1077, 2002, section 5.1).
PLANES = {
    Projection.RECTILINEAR: "TAN",
    Projection.EQUIDISTANT: "ARC",
    Projection.EQUISOLID: "ZEA",
    Projection.STEREOGRAPHIC: "STG",
    Projection.ORTHOGRAPHIC: "SIN",
}


# Focal lengths in a diagonal, such that the projections with an end still reach the picture's corners.
SHORTEST = {
    Projection.RECTILINEAR: 3,
    Projection.EQUIDISTANT: 3,
    Projection.EQUISOLID: 2,
    Projection.STEREOGRAPHIC: 3,
    Projection.ORTHOGRAPHIC: 1,
}


def on_plane(directions: Array, projection: Projection) -> Array:
    """The positions of directions in the picture, for directions in the camera's axes: right and up, in focal lengths."""
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = [f"RA---{PLANES[projection]}", f"DEC--{PLANES[projection]}"]
    wcs.wcs.crval, wcs.wcs.crpix, wcs.wcs.cdelt = [0, 0], [1, 1], [1, 1]
    forward, right, up = directions.T
    sky = np.degrees(np.stack([np.arctan2(right, forward), np.arctan2(up, np.hypot(forward, right))], axis=-1))
    plane: Array = np.radians(wcs.wcs_world2pix(sky, 0))
    return plane


def edges_mm(size_mm: tuple[float, float], offset_mm: tuple[float, float], share: float) -> Array:
    """Right, left, top and bottom of the picture, each moved in for the core."""
    return share * np.array(
        [
            size_mm[0] / 2 + offset_mm[0],
            size_mm[0] / 2 - offset_mm[0],
            size_mm[1] / 2 + offset_mm[1],
            size_mm[1] / 2 - offset_mm[1],
        ]
    )


@pytest.mark.parametrize("projection", PLANES)
@given(
    st.tuples(st.floats(8, 40), st.floats(8, 40)),
    st.floats(1, 6),
    st.tuples(st.floats(-0.4, 0.4), st.floats(-0.4, 0.4)),
    st.none() | st.floats(0.2, 1.5),
)
@settings(max_examples=40)
def test_the_outline_agrees_with_the_picture_plane(
    projection: Projection,
    size_mm: tuple[float, float],
    focal_of_diagonal: float,
    shift: tuple[float, float],
    circle: float | None,
) -> None:
    diagonal = math.hypot(*size_mm)
    focal_mm = focal_of_diagonal * diagonal / SHORTEST[projection]
    offset_mm = (shift[0] * size_mm[0], shift[1] * size_mm[1])
    circle_mm = None if circle is None else circle * diagonal
    field = make_field(
        projection=projection,
        focal_length_mm=focal_mm,
        size_mm=size_mm,
        pixels=(1000, 1000),
        overlap=0.3,
        offset_mm=offset_mm,
        circle_mm=circle_mm,
    )
    outline = outline_directions(field, field.whole)
    assert np.allclose(np.linalg.norm(outline, axis=1), 1)
    assert np.allclose(outline[0], outline[-1])
    x, y = on_plane(outline, projection).T * focal_mm
    right, left, top, bottom = edges_mm(size_mm, offset_mm, 1.0)
    limit = math.inf if circle_mm is None else circle_mm / 2
    inside = np.stack([right - x, left + x, top - y, bottom + y, np.full(len(x), limit) - np.hypot(x, y)])
    assert np.abs(inside.min(axis=0)).max() < 1e-6 * diagonal  # each point is on an edge or the circle, none outside
    for corner in ((right, top), (right, -bottom), (-left, top), (-left, -bottom)):
        if math.hypot(*corner) < limit:
            assert np.hypot(x - corner[0], y - corner[1]).min() < 1e-6 * diagonal
    turns = np.unwrap(np.arctan2(y, x))
    assert abs(turns[-1] - turns[0]) == pytest.approx(math.tau)
    assert (np.diff(turns) >= -1e-12).all()


@pytest.mark.parametrize("projection", PLANES)
def test_the_outline_of_the_core_is_its_edges(projection: Projection) -> None:
    """Half-angles of the core: half of edge and seam, where the neighbour's edge falls (arithmetic)."""
    field = make_field(projection=projection, focal_length_mm=20.0, size_mm=(30.0, 20.0), pixels=(300, 200), overlap=0.25)
    x, y = on_plane(outline_directions(field, field.core), projection).T
    along, up = math.degrees(field.core_half_width_rad), math.degrees(field.core_half_height_rad)
    axes = on_plane(
        np.array(
            [
                [math.cos(math.radians(along)), math.sin(math.radians(along)), 0.0],
                [math.cos(math.radians(up)), 0.0, math.sin(math.radians(up))],
            ]
        ),
        projection,
    )
    assert (x.max(), y.max()) == pytest.approx((axes[0, 0], axes[1, 1]), abs=1e-9)
    assert (x.min(), y.min()) == pytest.approx((-axes[0, 0], -axes[1, 1]), abs=1e-9)


def test_a_lens_that_sees_all_around() -> None:
    """An equidistant circle of 200 degrees on a larger sensor: every point of its outline is 100 degrees off axis."""
    field = make_field(
        projection=Projection.EQUIDISTANT,
        focal_length_mm=5.0,
        size_mm=(36.0, 24.0),
        pixels=(6000, 4000),
        overlap=0.3,
        circle_mm=2 * 5.0 * math.radians(100),
    )
    outline = outline_directions(field, field.whole)
    assert np.degrees(np.arccos(outline[:, 0])) == pytest.approx(np.full(len(outline), 100.0), abs=1e-6)


# Corner rays of a 24 mm landscape frame on 36 x 24 mm, half-angles 36.8699 and 26.5651 degrees (scipy Rotation).
@pytest.mark.parametrize(
    ("pitch_deg", "yaw", "pitch"), [(0, 36.8699, 21.8014), (30, 50.6014, 43.8700), (60, 84.8961, 55.9923)]
)
@pytest.mark.parametrize("turned_deg", [0.0, 47.0, 200.0])
def test_corners_of_a_known_frame(pitch_deg: float, yaw: float, pitch: float, turned_deg: float) -> None:
    field = kit_of(24.0, camera={"mounted": "landscape"}).field(0.3)
    frame = Frame(id=0, row=0, yaw_deg=turned_deg, pitch_deg=pitch_deg)
    (outline,) = outlines_at(field, field.whole, levelled_poses([frame]))
    for sign in (1, -1):
        corner = direction(turned_deg + sign * yaw, pitch)
        assert np.linalg.norm(outline - corner, axis=1).min() < 2e-6


@pytest.mark.parametrize("focal_length_mm", [12.0, 24.0, 35.0])
def test_as_many_frames_see_a_direction_as_solid_angles_say(focal_length_mm: float) -> None:
    """Mean count = N times solid angle / 4 pi, with 4 asin(sin a/2 sin b/2) for full angles a and b.

    The count weights each direction by its share of the sphere (Gorski et al., ApJ 622:759, 2005, count equal areas
    instead).
    """
    kit = kit_of(focal_length_mm)
    field = kit.field(0.0)
    frames = make_plan(kit, 0.3).frames
    seen = frames_seeing(field, levelled_poses(frames))
    pitch = np.radians(np.linspace(-90, 90, seen.shape[0], endpoint=False) + 180 / GRID_ACROSS)
    weights = np.broadcast_to(np.cos(pitch)[:, None], seen.shape)
    solid_angle = 4 * math.asin(math.sin(field.whole.right) * math.sin(field.whole.top))
    assert np.average(seen, weights=weights) == pytest.approx(len(frames) * solid_angle / (4 * math.pi), rel=0.01)
    assert seen.min() >= 1  # the plan covers


def test_one_frame_is_seen_where_it_points() -> None:
    field = kit_of(24.0).field(0.0)
    seen = frames_seeing(field, levelled_poses([Frame(id=0, row=0, yaw_deg=90.0, pitch_deg=0.0)]))
    columns, rows = np.flatnonzero(seen.any(axis=0)), np.flatnonzero(seen.any(axis=1))
    middle = (90 + 180) * GRID_ACROSS / 360
    assert (columns.min() + columns.max() + 1) / 2 == pytest.approx(middle, abs=0.5)
    assert (rows.min() + rows.max() + 1) / 2 == pytest.approx(seen.shape[0] / 2, abs=0.5)
    wide = np.count_nonzero(seen[seen.shape[0] // 2]) * 360 / GRID_ACROSS
    assert wide == pytest.approx(math.degrees(2 * field.whole.right), abs=1.0)


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


@pytest.mark.parametrize(
    ("asked", "low_deg", "words"),
    [
        (Request(), -20.0, "sr out of reach"),
        (Request(floor_deg=-40), -95.0, "not covered: not requested"),
        (
            Request(region=RegionKind.WINDOW, pitch_from_deg=-20, pitch_to_deg=90, yaw_from_deg=330, yaw_to_deg=60),
            -95.0,
            "not covered: not requested",
        ),
    ],
    ids=["out of reach", "floor", "window"],
)
def test_what_is_not_covered_is_shaded_and_named(asked: Request, low_deg: float, words: str) -> None:
    """Directions below and outside the region are in a shaded patch, directions inside it in none."""
    plan = make_plan(kit_of(24.0, head={"tilt": {"min_deg": low_deg}}), 0.3, asked)
    for figure in (sphere_picture(plan), pole_picture(plan)):
        (legend,) = figure.legends
        assert any(words in text.get_text() for text in legend.get_texts())
    (axes, *_), (_, nadir) = sphere_picture(plan).axes, pole_picture(plan).axes
    shades = [patch for patch in axes.patches if isinstance(patch, Rectangle)]
    for yaw, pitch in ((0.0, -80.0), (0.0, 0.0), (-100.0, 0.0), (50.0, 20.0), (59.0, -89.0), (-170.0, -15.0)):
        shaded = sum(patch.get_path().contains_point((yaw, pitch), patch.get_patch_transform()) for patch in shades)
        inside = plan.region.bounds().holds(np.array([direction(yaw, pitch)]))[0]
        assert shaded == (0 if inside else 1)
    wedges = [patch for patch in nadir.patches if isinstance(patch, Wedge)]
    assert any(wedge.get_path().contains_point((0.0, 5.0)) for wedge in wedges)  # 85 degrees down, straight ahead
    assert not any(wedge.get_path().contains_point((0.0, 85.0)) for wedge in wedges)


@pytest.mark.parametrize("width_in", [DESK_IN, PHONE_IN])
@pytest.mark.parametrize("focal_length_mm", [14.0, 35.0])
@pytest.mark.parametrize("picture", [sphere_picture, pole_picture])
def test_numbers_of_frames_touch_no_other_and_are_inside(
    picture: Callable[..., Figure], focal_length_mm: float, width_in: float
) -> None:
    """By the extents of the letters as they are drawn. Most numbers are there: all of them, if there is room."""
    plan = make_plan(kit_of(focal_length_mm), 0.3)
    figure = picture(plan, {plan.frames[3].id}, width_in)
    figure.draw_without_rendering()
    shown = set()
    for axes in figure.axes:
        texts = [text for text in axes.texts if text.get_text().isdigit()]
        shown |= {int(text.get_text()) for text in texts}
        boxes = [text.get_window_extent() for text in texts]
        edge = axes.get_window_extent()
        for number, box in enumerate(boxes):
            assert edge.x0 <= box.x0 < box.x1 <= edge.x1
            assert not any(box.overlaps(other) for other in boxes[:number]), texts[number]
    drawn = plan.frames if picture is sphere_picture else [one for one in plan.frames if abs(one.pitch_deg) >= 15]
    assert len(shown) >= (0.75 if width_in == DESK_IN else 0.9) * len(drawn)


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


def test_a_run_that_went_on_with_a_set_follows_the_one_before() -> None:
    """The computer may have restarted in between, so its clock may start again."""
    begun = HAPPENINGS[0].at_ns
    again = [Happening(one.at_ns - begun + NS, one.state, one.what, one.frame) for one in HAPPENINGS]
    again[0] = Happening(NS, "connecting", "start", None)
    span = (HAPPENINGS[-1].at_ns - begun) / NS
    parts = stretches([*HAPPENINGS, *again], 2 * span)
    assert [part.start_s for part in parts] == sorted(part.start_s for part in parts)
    assert parts[len(HAPPENINGS)].start_s == span
    assert parts[-1].start_s == pytest.approx(2 * span)


def test_lanes_sum_up_their_stretches_and_leave_out_what_never_was() -> None:
    found = shares(stretches(HAPPENINGS, 13.5))
    assert [(share.name, share.seconds) for share in found] == [
        ("finding zero", 5.0),
        ("moving", 6.0),
        ("exposing", 1.0),
        (REST[0], 1.5),
    ]
    assert {share.name for share in found} <= {STATES[state].lane for state in LANES} | {REST[0]}
    assert [share.percent for share in found] == pytest.approx([100 * share.seconds / 13.5 for share in found])


@pytest.mark.parametrize("state", RunState)
def test_no_time_is_left_out_whatever_the_run_did(state: RunState) -> None:
    """The shares of a run sum to the whole of it."""
    states = [RunState.CONNECTING, state, RunState.MOVING, state, RunState.DONE]
    done = [Happening(number * NS, each.value, "", None) for number, each in enumerate(states)]
    found = shares(stretches(done, 9.0))
    assert sum(share.seconds for share in found) == 9.0
    assert sum(share.percent for share in found) == pytest.approx(100.0)


def test_nothing_happened() -> None:
    assert stretches([], 5.0) == []
    assert shares([]) == []
