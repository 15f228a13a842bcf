"""The uncovered area and its gradient, compared with counted directions and with small differences."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.optics.field import Field
from controller.optics.outline import core_outline
from controller.planning.cores import place
from controller.planning.directions import Array, camera_axes
from controller.planning.region import SPHERE, Bounds
from controller.planning.uncovered import Uncovered, _axes
from tests.controller.planning.examples import field_of
from tests.controller.planning.oracle import evenly_spread
from tests.end_to_end.whole_runs import kit_of

FIELDS = {
    "12 mm": field_of(12.0),
    "24 mm": field_of(24.0),
    "24 mm across": field_of(24.0, (36.0, 24.0)),
    "stereographic": kit_of(12.0, lens={"projection": "stereographic"}).field(0.3),
    "equidistant": kit_of(15.0, lens={"projection": "equidistant"}).field(0.3),
    "equisolid in a circle": kit_of(8.0, lens={"projection": "equisolid", "image_circle_mm": 23.0}).field(0.3),
}
REGIONS = {
    "sphere": SPHERE,
    "band": Bounds(-30, 40),
    "less than half a turn": Bounds(-50, 20, 100, 120),
    "more than half a turn": Bounds(-30, 80, 200, 250),
}


def aims_in(region: Bounds, count: int, seed: int) -> Array:
    random = np.random.default_rng(seed)
    low, high = np.sin(np.radians([region.pitch_from_deg, region.pitch_to_deg]))
    yaw = np.radians(region.yaw_from_deg + random.uniform(0, region.yaw_width_deg, count))
    return np.stack([yaw, np.arcsin(random.uniform(low, high, count))], axis=1)


def sampled_sr(field: Field, region: Bounds, aims: Array, margin_rad: float) -> float:
    directions = evenly_spread(100_000)
    inside = directions[region.holds(directions)]
    bare = place(core_outline(field), *np.degrees(aims).T).best_margin_rad(inside) < margin_rad
    return float(4 * np.pi * bare.sum() / len(directions))


@pytest.mark.parametrize("region", REGIONS)
@pytest.mark.parametrize("name", FIELDS)
def test_area_and_slope(name: str, region: str) -> None:
    field, bounds, margin_rad = FIELDS[name], REGIONS[region], 0.01
    count = max(2, round(0.6 * bounds.solid_angle_sr() / (4 * np.sin(field.core.right) * np.sin(field.core.top))))
    aims = aims_in(bounds, count, seed=count)
    uncovered = Uncovered(core_outline(field), bounds, margin_rad)
    found = uncovered(aims)
    assert found.area == pytest.approx(sampled_sr(field, bounds, aims, margin_rad), rel=0.02, abs=2e-3)
    step = 1e-6
    for number in np.random.default_rng(count).integers(2 * count, size=4):
        change = np.zeros(2 * count)
        change[number] = step
        there, back = (uncovered(aims + sign * change.reshape(-1, 2)).area for sign in (1, -1))
        # Where curved edges meet the rest of the sphere, slivers are lost, which makes small jumps.
        assert found.slope.ravel()[number] == pytest.approx((there - back) / (2 * step), rel=1e-3, abs=1e-4)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10**6), moves=st.lists(st.floats(0, 0.2), max_size=6))
def test_neighbours_that_were_kept_change_nothing(seed: int, moves: list[float]) -> None:
    outline, random = core_outline(FIELDS["24 mm"]), np.random.default_rng(seed)
    kept, aims = Uncovered(outline, SPHERE, 0.0), aims_in(SPHERE, 14, seed)
    for move in [0.0, *moves]:
        aims = aims + random.normal(scale=move, size=aims.shape)
        fresh, known = Uncovered(outline, SPHERE, 0.0)(aims), kept(aims)
        assert known.area == pytest.approx(fresh.area, abs=1e-12)
        assert known.slope == pytest.approx(fresh.slope, abs=1e-12)


def test_nothing_is_left_by_a_plan_that_covers_and_everything_by_none() -> None:
    outline = core_outline(field_of(14.0))
    yaw, pitch = np.meshgrid(np.radians(np.arange(0, 360, 30)), np.radians([-75, -45, 0, 45, 75]))
    many = np.stack([yaw.ravel(), pitch.ravel()], axis=1)
    left = Uncovered(outline, SPHERE, 0.0)(many)
    assert left.area == 0.0
    assert not left.slope.any()
    one = Uncovered(outline, SPHERE, 0.0)(np.zeros((1, 2)))
    core = 4 * np.arcsin(np.sin(field_of(14.0).core_half_width_rad) * np.sin(field_of(14.0).core_half_height_rad))
    assert one.area == pytest.approx(4 * np.pi - core, rel=1e-6)


def test_the_axes_are_those_of_the_rest_of_the_program() -> None:
    aims = aims_in(SPHERE, 50, 3)
    assert np.allclose(_axes(aims), [axis.T for axis in camera_axes(aims[:, 0], aims[:, 1])], atol=1e-15)
