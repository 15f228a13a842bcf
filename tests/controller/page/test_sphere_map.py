"""The shapes that the page draws contain exactly the directions that the cores contain."""

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.optics.field import Field, make_field
from controller.optics.projection import Projection
from controller.page.sphere_map import POINTS, _path, sphere_map
from controller.planning.cores import cores_at
from controller.planning.frame_outlines import outlines_at
from controller.planning.make import make_plan
from controller.planning.reached_poses import Poses
from controller.planning.request import RegionKind, Request
from controller.report.holes_picture import held_by
from tests.end_to_end.whole_runs import kit_of

EDGE_DEG = 1.5  # nearer to the outline than this, a shape of few points and one decimal may differ

LENSES = {
    "24 mm": (Projection.RECTILINEAR, 24.0, (24.0, 36.0), None),
    "14 mm wide": (Projection.RECTILINEAR, 14.0, (36.0, 24.0), None),
    "fisheye, whole frame": (Projection.EQUISOLID, 15.0, (36.0, 24.0), None),
    "fisheye, circle": (Projection.EQUIDISTANT, 8.0, (36.0, 24.0), 24.0),
}


def field_of(name: str) -> Field:
    projection, focal_mm, (wide_mm, high_mm), circle_mm = LENSES[name]
    return make_field(
        projection=projection,
        focal_length_mm=focal_mm,
        size_mm=(wide_mm, high_mm),
        pixels=(6000, 4000),
        overlap=0.2,
        circle_mm=circle_mm,
    )


def rings_of(path: str) -> list[np.ndarray]:
    """The closed lines of a shape, read as SVG path data with absolute M, L, H, V and Z."""
    rings = []
    for part in path.split("Z")[:-1]:
        places: list[tuple[float, float]] = []
        for letter, numbers in re.findall(r"([MLHV])([-\d. ]+)", part):
            values = [float(text) for text in numbers.split()]
            x, y = places[-1] if places else (0.0, 0.0)
            places.append({"H": (values[0], y), "V": (x, values[0])}.get(letter, (values[0], values[-1])))
        rings.append(np.array([*places, places[0]]))
    return rings


def is_filled(path: str, x: float, y: float) -> bool:
    """Whether a place is filled (even-odd), in any of the three copies."""
    crossings = 0
    for ring in rings_of(path):
        for turn in (-360.0, 0.0, 360.0):
            moved = ring + np.array([turn, 0.0])
            (x1, y1), (x2, y2) = moved[:-1].T, moved[1:].T
            over = (y1 > y) != (y2 > y)
            with np.errstate(divide="ignore", invalid="ignore"):
                crossings += int(np.count_nonzero(over & (x1 + (y - y1) / (y2 - y1) * (x2 - x1) > x)))
    return crossings % 2 == 1


@pytest.mark.parametrize("lens", LENSES)
@settings(max_examples=60, deadline=None)
@given(
    yaw=st.floats(-720, 720), pitch=st.floats(-90, 90), at_yaw=st.floats(-180, 180), at_pitch=st.floats(-89, 89),
    roll=st.floats(-5, 5),
)  # fmt: skip
def test_a_shape_holds_what_the_core_holds(
    lens: str, yaw: float, pitch: float, at_yaw: float, at_pitch: float, roll: float
) -> None:
    field = field_of(lens)
    poses = Poses(np.array([yaw]), np.array([pitch]), np.array([roll]))
    (outline,) = outlines_at(field, field.core, poses, POINTS)
    yaw_rad, pitch_rad = np.radians(at_yaw), np.radians(at_pitch)
    direction = np.array([np.cos(pitch_rad) * np.cos(yaw_rad), np.cos(pitch_rad) * np.sin(yaw_rad), np.sin(pitch_rad)])
    if np.degrees(np.arccos(np.clip(outline @ direction, -1, 1))).min() < EDGE_DEG + 180 / POINTS:
        return
    held = bool(held_by(cores_at(field, *poses), 0, direction[None])[0])
    path = _path(outline, (yaw + 180) % 360 - 180, pitch)
    assert is_filled(path, at_yaw, -at_pitch) == held


def test_a_map_has_every_frame_of_the_first_pass_and_names_the_others() -> None:
    plan = make_plan(kit_of(24.0), 0.3, Request(passes=2))
    found = sphere_map(plan)
    assert [shape.id for shape in found.frames] == [frame.id for frame in plan.first_pass]
    assert found.passes == {frame.id: frame.repeats for frame in plan.frames if frame.repeats is not None}
    assert set(found.passes.values()) == {shape.id for shape in found.frames}
    assert found.outside == ()


@settings(max_examples=15, deadline=None)
@given(
    yaw_from=st.floats(-180, 360), width=st.floats(10, 350), pitch_from=st.floats(-80, 20), height=st.floats(5, 60),
    x=st.floats(-179.9, 179.9), y=st.floats(-89.9, 89.9),
)  # fmt: skip
def test_what_is_outside_the_region_is_drawn_as_outside(
    yaw_from: float, width: float, pitch_from: float, height: float, x: float, y: float
) -> None:
    request = Request(RegionKind.WINDOW, pitch_from, pitch_from + height, round(yaw_from), round(yaw_from) + round(width))
    plan = make_plan(kit_of(24.0), 0.3, request)
    inside = (
        plan.region.pitch_from_deg < -y < plan.region.pitch_to_deg
        and (x - plan.region.yaw_from_deg) % 360 < plan.region.yaw_width_deg
    )
    edges = [-y - plan.region.pitch_from_deg, -y - plan.region.pitch_to_deg]
    edges += [(x - plan.region.yaw_from_deg + 180) % 360 - 180]
    edges += [(x - plan.region.yaw_from_deg - plan.region.yaw_width_deg + 180) % 360 - 180]
    if min(map(abs, edges)) < 0.2:
        return
    drawn = False
    for path in sphere_map(plan).outside:
        left, top, wide, high, _ = map(float, re.findall(r"-?[\d.]+", path))
        drawn |= top <= y <= top + high and any(left <= x + turn <= left + wide for turn in (-360, 0, 360))
    assert drawn == (not inside)
