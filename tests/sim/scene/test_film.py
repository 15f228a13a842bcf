"""The film records every pose of an exposure, and the truth is the same without it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from protocol.units import NS
from sim.axis import AxisSpec
from sim.camera import Label, Opening
from sim.head import HeadSpec, SimulatedHead
from sim.motors import move
from sim.scene.film import MOST_POSES, Film, aims_of
from sim.truth import Truth

SPEC = HeadSpec(AxisSpec(320.0), AxisSpec(320.0), ring_hz=8.0, ring_damping=0.05, pixel_deg=0.0142)


def opening(open_s: float, shutter_s: float) -> Opening:
    return Opening(Label(3, 1), round(open_s * NS), round((open_s + shutter_s) * NS), shutter_s)


def moving_head() -> SimulatedHead:
    """A head that turns by 30 degrees at 10 degrees/s, starting after half a second."""
    head = SimulatedHead(SPEC, 0, 0)
    head.pan.begin(move(0, 0, 9600, 3200.0, 6400.0))
    return head


def test_the_record_is_the_same_with_a_film() -> None:
    film, plain = Film(), Truth()
    for record in (film, plain):
        record.record(moving_head(), opening(1.0, 0.02))
        record.record(SimulatedHead(SPEC, 100, -50), opening(9.0, 0.5))
    assert film.to_json() == plain.to_json()
    assert len(film.views) == 2


def test_a_head_at_rest_needs_one_pose() -> None:
    film = Film()
    film.record(SimulatedHead(SPEC, 320, -640), opening(5.0, 2.0))
    (view,) = film.views
    assert (view.frame, view.exposure, view.open_ns, view.shutter_s) == (3, 1, 5 * NS, 2.0)
    assert view.angles_deg.tolist() == [[1.0, -2.0]]


@pytest.mark.parametrize("shutter_s", [0.01, 0.1, 1.0])
def test_an_even_motion_is_as_long_as_speed_by_time(shutter_s: float) -> None:
    film = Film()
    film.record(moving_head(), opening(1.0, shutter_s))
    (view,) = film.views
    count = len(view.angles_deg)
    # n poses in the middles of n equal parts of the time span (n - 1) / n of it; ringing adds a little at first.
    assert np.ptp(view.angles_deg[:, 0]) == pytest.approx(10 * shutter_s * (count - 1) / count, abs=0.05)
    assert np.ptp(view.angles_deg[:, 1]) == 0
    (true,) = film.exposures
    assert not true.still
    assert view.angles_deg[:, 0].mean() == pytest.approx(true.yaw_deg, abs=0.03)


def test_long_exposures_keep_a_limited_number_of_poses() -> None:
    film = Film()
    film.record(moving_head(), opening(0.0, 3600.0))
    assert len(film.views[0].angles_deg) == MOST_POSES
    aims = aims_of(film.views[0], 0.1)
    rest = max(aims, key=lambda aim: aim.weight)
    assert rest.yaw_deg == pytest.approx(30.0, abs=0.01)
    assert rest.weight / sum(aim.weight for aim in aims) > 0.99


def test_ringing_is_kept_pose_by_pose() -> None:
    head = moving_head()
    film = Film()
    film.record(head, opening(3.5 + 1e-3, 0.25))  # two swings, just after the motor came to rest
    poses = film.views[0].angles_deg
    moments = [round((3.501 + 0.25 * (i + 0.5) / len(poses)) * NS) for i in range(len(poses))]
    expected = [head.pose_deg(moment)[0] for moment in moments]
    np.testing.assert_allclose(poses[:, 0], expected, rtol=0, atol=1e-6)
    assert math.isclose(np.ptp(poses[:, 0]) / SPEC.pixel_deg, head.motion_px(moments[0], moments[-1]), rel_tol=0.05)
