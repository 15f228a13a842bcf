"""The five projections compared with published angles of view and the formulas' own landmarks."""

from __future__ import annotations

import dataclasses
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import InputError
from controller.optics.field import make_field
from controller.optics.projection import LAWS, Projection, off_axis_angle, picture_radius

HALF_SIDES = (18.0, 12.0, math.hypot(18, 12))  # across, up and to the corner of 36 x 24 mm


def full_angles_deg(projection: Projection, focal_length_mm: float) -> list[float]:
    return [math.degrees(2 * off_axis_angle(projection, focal_length_mm, side)) for side in HALF_SIDES]


# Bill Claff, "Angle of View Values for Common Focal Lengths", 22 Nov 2006; also S. F. Ray, Applied Photographic
# Optics, 3rd ed. 2002 (from memory). Horizontal, vertical, diagonal in degrees on 36 x 24 mm at infinity.
ANGLES_OF_VIEW = [
    (10, 121.9, 100.4, 130.4),
    (12, 112.6, 90.0, 122.0),
    (14, 104.3, 81.2, 114.2),
    (17, 93.3, 70.4, 103.7),
    (18, 90.0, 67.4, 100.5),
    (20, 84.0, 61.9, 94.5),
    (24, 73.7, 53.1, 84.1),
    (28, 65.5, 46.4, 75.4),
    (35, 54.4, 37.8, 63.4),
    (50, 39.6, 27.0, 46.8),
    (70, 28.8, 19.5, 34.3),
    (85, 23.9, 16.1, 28.6),
    (100, 20.4, 13.7, 24.4),
    (105, 19.5, 13.0, 23.3),
    (135, 15.2, 10.2, 18.2),
    (200, 10.29, 6.87, 12.35),  # not in the published table; computed
]


@pytest.mark.parametrize(("focal", "across", "up", "corner"), ANGLES_OF_VIEW)
def test_rectilinear_angles_of_view(focal: float, across: float, up: float, corner: float) -> None:
    assert full_angles_deg(Projection.RECTILINEAR, focal) == pytest.approx([across, up, corner], abs=0.06)


def test_rectilinear_landmarks() -> None:
    # f = half the side gives 90 degrees; 24 mm gives 2 atan(1/2) and 2 atan(3/4) (exact, by the formula).
    assert full_angles_deg(Projection.RECTILINEAR, 18)[0] == pytest.approx(90, abs=1e-12)
    assert full_angles_deg(Projection.RECTILINEAR, 12)[1] == pytest.approx(90, abs=1e-12)
    across, up, _ = full_angles_deg(Projection.RECTILINEAR, 24)
    assert (across, up) == pytest.approx((73.7398, 53.1301), abs=5e-5)


# Fields on 36 x 24 mm from the formulas in Ray 2002 and in J. Kannala and S. Brandt, IEEE TPAMI 28(8):1335, 2006,
# equations 1-5 (from memory), computed outside this program.
FISHEYE_FIELDS = [
    ("equidistant", 8, 257.83, 171.89, 309.87),
    ("equisolid", 12, 194.36, 120.00, 257.36),
    ("stereographic", 12, 147.48, 106.26, 168.12),
    ("equisolid", 15, 147.48, 94.31, 184.58),
    ("equidistant", 15, 137.51, 91.67, 165.27),
    ("stereographic", 16, 117.43, 82.22, 136.24),
]


@pytest.mark.parametrize(("name", "focal", "across", "up", "corner"), FISHEYE_FIELDS)
def test_fisheye_fields(name: str, focal: float, across: float, up: float, corner: float) -> None:
    assert full_angles_deg(Projection(name), focal) == pytest.approx([across, up, corner], abs=0.006)


@pytest.mark.parametrize(
    ("name", "radius"),
    [("equidistant", 1.570796), ("equisolid", 1.414214), ("stereographic", 2.0), ("orthographic", 1.0)],
)
def test_radius_of_the_half_sphere(name: str, radius: float) -> None:
    # Radius of the 180 degree circle for a focal length of 1: Ray 2002, Kannala & Brandt 2006 (from memory).
    assert picture_radius(Projection(name), 1, math.pi / 2) == pytest.approx(radius, abs=5e-7)


def test_orthographic_picture_ends_at_its_focal_length() -> None:
    assert math.degrees(2 * off_axis_angle(Projection.ORTHOGRAPHIC, 12, 12)) == 180
    with pytest.raises(ValueError, match="orthographic lens of 12 mm never reaches 18 mm"):
        off_axis_angle(Projection.ORTHOGRAPHIC, 12, 18)
    with pytest.raises(ValueError, match="orthographic lens of 12 mm never reaches 18 mm"):
        off_axis_angle(Projection.ORTHOGRAPHIC, 12, -18)


@pytest.mark.parametrize(
    ("name", "focal", "size_mm"),
    [
        ("orthographic", 12.0, (36, 24)),
        ("orthographic", 12.0, (24, 36)),
        ("orthographic", 11.999, (24, 24)),
        ("equisolid", 8.0, (36, 24)),
        ("equidistant", 5.0, (36, 24)),
    ],
)
def test_a_sensor_larger_than_the_picture_gives_a_circular_picture(
    name: str, focal: float, size_mm: tuple[float, float]
) -> None:
    field = make_field(
        projection=Projection(name), focal_length_mm=focal, size_mm=size_mm, pixels=(6000, 4000), overlap=0.3
    )
    law = LAWS[Projection(name)]
    assert field.circle_rad == pytest.approx(law.angle(law.largest_radius))
    angles = (*dataclasses.astuple(field.whole), *dataclasses.astuple(field.core))
    assert all(0 < angle <= field.circle_rad for angle in angles)


def test_an_axis_outside_of_the_picture_is_an_input_error() -> None:
    with pytest.raises(InputError, match="outside the picture"):
        make_field(
            projection=Projection.RECTILINEAR,
            focal_length_mm=24,
            size_mm=(24, 36),
            pixels=(4000, 6000),
            overlap=0.3,
            offset_mm=(12.5, 0),
        )


@given(st.sampled_from(sorted(LAWS)), st.floats(1, 500), st.floats(-1.5, 1.5))
def test_angle_is_the_inverse_of_radius(projection: Projection, focal: float, theta: float) -> None:
    radius = picture_radius(projection, focal, theta)
    # asin is steep at 90 degrees, so the orthographic angle keeps only half of the digits there
    assert off_axis_angle(projection, focal, radius) == pytest.approx(theta, abs=1e-9)
    assert off_axis_angle(projection, focal, -radius) == -off_axis_angle(projection, focal, radius)


@given(st.sampled_from(sorted(LAWS)), st.floats(0, 1.5), st.floats(1e-6, 0.07))
def test_radius_grows_with_the_angle(projection: Projection, theta: float, more: float) -> None:
    assert picture_radius(projection, 24, theta + more) > picture_radius(projection, 24, theta)


@pytest.mark.parametrize("projection", sorted(LAWS))
def test_near_the_axis_all_are_alike(projection: Projection) -> None:
    assert picture_radius(projection, 50, 1e-4) == pytest.approx(50 * 1e-4, rel=1e-8)


@pytest.mark.parametrize(("focal", "pixel_mm", "degrees"), [(24.0, 5.97e-3, 0.0142523), (50.0, 4.34e-3, 0.0049733)])
def test_angle_of_a_pixel(focal: float, pixel_mm: float, degrees: float) -> None:
    # atan(pixel pitch / f), arithmetic
    field = make_field(
        projection=Projection.RECTILINEAR,
        focal_length_mm=focal,
        size_mm=(6000 * pixel_mm, 4000 * pixel_mm),
        pixels=(6000, 4000),
        overlap=0.3,
    )
    assert math.degrees(field.pixel_rad) == pytest.approx(degrees, abs=5e-8)


@pytest.mark.parametrize("projection", [p for p in Projection if math.isfinite(LAWS[p].largest_radius)])
@given(st.floats(0.5, 500))
def test_the_very_edge_is_reached_in_spite_of_rounding(projection: Projection, focal_mm: float) -> None:
    law = LAWS[projection]
    edge_mm = law.largest_radius * focal_mm
    assert off_axis_angle(projection, focal_mm, edge_mm) == pytest.approx(law.angle(law.largest_radius))
    with pytest.raises(ValueError, match="never reaches"):
        off_axis_angle(projection, focal_mm, edge_mm * 1.000001)
