"""The local plane of an overlap, and frames drawn on it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.inspection.overlap import MOST_PX, Overlap, axes_of, find_overlap, needed_share, over_plane, warp
from controller.optics.projection import Projection
from sim.scene.lens import axes_of as drawn_axes
from tests.controller.inspection.rendered import Rig, photograph

RIGS = {
    Projection.RECTILINEAR: Rig(),
    Projection.EQUIDISTANT: Rig(Projection.EQUIDISTANT, 8.0),
    Projection.EQUISOLID: Rig(Projection.EQUISOLID, 8.0),
    Projection.STEREOGRAPHIC: Rig(Projection.STEREOGRAPHIC, 10.0),
    Projection.ORTHOGRAPHIC: Rig(Projection.ORTHOGRAPHIC, 12.0, widest_rad=math.radians(70)),
}
ANGLES = st.tuples(st.floats(0, 360), st.floats(-90, 90), st.floats(-180, 180))


@given(ANGLES)
def test_axes_are_those_with_which_the_simulator_draws(aim: tuple[float, float, float]) -> None:
    forward, right, up = drawn_axes(*aim).T
    assert np.allclose(axes_of(*aim), np.stack([right, -up, forward]))


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(list(RIGS)), ANGLES, st.floats(-40, 40), st.floats(-40, 40), st.floats(0.1, 1.0))
def test_the_plane_holds_what_both_frames_see(
    projection: Projection, aim: tuple[float, float, float], yaw_deg: float, pitch_deg: float, share: float
) -> None:
    rig = RIGS[projection]
    # A neighbour in the first camera's own axes, so that all attitudes are alike.
    first = rig.view(aim)
    local = axes_of(yaw_deg, pitch_deg) @ np.linalg.inv(axes_of(0.0, 0.0))
    second = rig.view((0.0, 0.0, 0.0))
    second = type(second)(local @ first.axes, first.lens, first.size_px, first.u_aim_rad, first.circle_px)
    plane = find_overlap(first, second, share)
    columns, rows = rig.size_px
    points = np.random.default_rng(1).uniform((0, 0), (columns - 1, rows - 1), (200, 2))
    points = points[first.shows(points)]
    directions = first.directions(points)
    common = directions[second.sees(directions)]
    if plane is None:
        assert len(common) < 8  # of 200; a sliver between the points of the grid
        return
    assert np.allclose(plane.axes @ plane.axes.T, np.eye(3), atol=1e-9)
    assert np.linalg.det(plane.axes) == pytest.approx(np.linalg.det(first.axes))
    assert plane.size_px[0] * plane.size_px[1] < MOST_PX * 1.02 + sum(plane.size_px)
    places = plane.places(common)
    assert np.allclose(plane.directions(places), common, atol=1e-9)
    slack = 3 + 0.06 * np.array(plane.size_px)  # half a step of the grid in which the overlap is looked for
    inside = (places >= -slack).all(axis=1) & (places <= np.array(plane.size_px) + slack).all(axis=1)
    assert inside.mean() > 0.97
    assert 0 < needed_share(first, plane) <= 1


@pytest.mark.parametrize("projection", RIGS)
@pytest.mark.parametrize("other", [(70.0, 5.0, 2.0), (35.0, 45.0, 0.0)])
def test_both_frames_look_alike_on_the_plane(projection: Projection, other: tuple[float, float, float]) -> None:
    rig, aims = RIGS[projection], ((35.0, 0.0, 0.0), other)
    views = [rig.view(aim) for aim in aims]
    plane = find_overlap(views[0], views[1])
    assert plane is not None
    drawn = [warp(photograph(rig, aim), 1.0, view, plane) for aim, view in zip(aims, views, strict=True)]
    both = drawn[0].held & drawn[1].held
    assert both.mean() > 0.3
    one, two = (patch.grey[both].astype(np.float64) for patch in drawn)
    assert np.corrcoef(one, two)[0, 1] > 0.97
    assert all((patch.grey[~patch.held] == 0).all() for patch in drawn)
    # A shift by two pixels is worse: the comparison above could have failed.
    moved = np.roll(drawn[1].grey, 2, axis=1)[both].astype(np.float64)
    assert np.abs(one - moved).mean() > 1.2 * np.abs(one - two).mean()


@given(st.integers(1, 40), st.integers(1, 40), st.tuples(*[st.floats(-5, 5)] * 4))
def test_what_is_linear_is_the_same_at_every_pixel_of_a_plane_of_any_size(
    columns: int, rows: int, slopes: tuple[float, float, float, float]
) -> None:
    by = np.array(slopes).reshape(2, 2)
    plane = Overlap(np.eye(3), 100.0, (0.0, 0.0), (columns, rows))
    whole = over_plane(plane, lambda places: places @ by)
    places = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1)
    assert whole.shape == (rows, columns, 2)
    within = 1e-6 * max(columns, rows) * np.abs(by).max() + 1e-30  # of 32 bits
    assert np.abs(whole - places @ by).max() <= within


@given(ANGLES, st.floats(0, 360), st.floats(0, 150))
def test_angles_are_kept_on_the_plane(aim: tuple[float, float, float], turn_deg: float, off_deg: float) -> None:
    """Stereographic: a small step right and one down are equally long and at right angles everywhere."""
    plane = Overlap(axes_of(*aim), 1000.0, (0.0, 0.0), (1, 1))
    off, turn = math.radians(off_deg), math.radians(turn_deg)
    place = 2000 * math.tan(off / 2) * np.array([math.cos(turn), math.sin(turn)])
    here, right, down = plane.directions(place + np.array([[0.0, 0.0], [0.01, 0.0], [0.0, 0.01]]))
    assert here @ plane.axes[2] == pytest.approx(math.cos(off), abs=1e-9)
    one, other = right - here, down - here
    assert np.linalg.norm(one) == pytest.approx(np.linalg.norm(other), rel=1e-4)
    assert abs(one @ other) < 1e-3 * np.linalg.norm(one) ** 2
