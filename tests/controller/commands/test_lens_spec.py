"""A kit's lens in the simulator: rendered dots are where an independent program puts them.

Oracle: astropy's WCS. M. Calabretta and E. Greisen, A&A 395:1077, 2002, section 5.1: TAN, ARC, ZEA, STG and SIN are the
rectilinear, equidistant, equisolid, stereographic and orthographic projections.
"""

from __future__ import annotations

import numpy as np
import pytest
from astropy.wcs import WCS

from controller.commands.stand_in import camera_name, lens_spec
from sim.scene.lens import rays
from sim.scene.render import HeldPose, Renderer
from sim.scene.scenery import Layer, Scenery
from tests.end_to_end.whole_runs import kit_of
from tests.sim.scene.dots import Array, centre_of_light, dots_at, unit

WIDTH, SIZE_DEG, DOTS = 2048, 0.3, 150
LENSES = [
    ("rectilinear", "TAN", 16.0, 40.0),
    ("equidistant", "ARC", 10.0, 100.0),
    ("equisolid", "ZEA", 11.0, 100.0),
    ("stereographic", "STG", 9.0, 100.0),
    ("orthographic", "SIN", 13.0, 60.0),
]
AIMS = [HeldPose(40.0, 30.0), HeldPose(-178.0, -12.0), HeldPose(250.0, 88.0), HeldPose(0.0, -90.0)]


def spread(count: int) -> tuple[Array, Array]:
    """Directions all over the sphere: yaw and pitch in degrees (a Fibonacci lattice)."""
    number = np.arange(count, dtype=np.float64)
    return number * 137.50776405003785 % 360 - 180, np.degrees(np.arcsin(1 - (2 * number + 1) / count))


@pytest.fixture(scope="module")
def dots() -> Layer:
    return dots_at(*spread(DOTS), WIDTH, SIZE_DEG)


def expected(code: str, aim: HeldPose) -> tuple[Array, Array]:
    """Where astropy puts the dots, right of and above the axis in units of the focal length; far ones are NaN."""
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = [f"RA---{code}", f"DEC--{code}"]
    wcs.wcs.crval, wcs.wcs.crpix, wcs.wcs.cdelt = [aim.yaw_deg % 360, aim.pitch_deg], [1, 1], [1, 1]
    if abs(aim.pitch_deg) == 90:  # the axis's own yaw determines which way is up
        wcs.wcs.lonpole = 180
    yaw, pitch = spread(DOTS)
    x, y = np.radians(wcs.wcs_world2pix(np.stack([yaw % 360, pitch], axis=-1), 0)).T
    return x, y


@pytest.mark.parametrize("aim", AIMS, ids=str)
@pytest.mark.parametrize(("projection", "code", "focal_mm", "within_deg"), LENSES)
@pytest.mark.parametrize("mounted", ["portrait", "landscape"])
def test_dots_fall_where_astropy_says(
    dots: Layer, mounted: str, projection: str, code: str, focal_mm: float, within_deg: float, aim: HeldPose
) -> None:
    kit = kit_of(
        focal_mm,
        lens={"projection": projection},
        camera={"mounted": mounted, "offset_right_mm": 1.5, "offset_up_mm": -2.5},
    )
    across, up = (800, 1200) if mounted == "portrait" else (1200, 800)
    lens = lens_spec(kit)
    light = Renderer(Scenery((dots,)), lens, across, up).light(aim)
    x, y = expected(code, aim)
    away = unit(*spread(DOTS)) @ unit(np.array(aim.yaw_deg), np.array(aim.pitch_deg))
    column = ((x * focal_mm - 1.5) / lens.width_mm + 0.5) * across - 0.5
    row = (0.5 - (y * focal_mm + 2.5) / lens.height_mm) * up - 0.5
    reach = 20
    inside = (away > np.cos(np.radians(within_deg))) & (abs(column - across / 2) < across / 2 - reach - 1)
    inside &= abs(row - up / 2) < up / 2 - reach - 1
    assert inside.sum() >= 6
    off = [
        np.hypot(*np.subtract(centre_of_light(light, c, r, reach), (c, r)))
        for c, r in zip(column[inside], row[inside], strict=True)
    ]
    assert max(off) < 0.25
    assert np.median(off) < 0.06


@pytest.mark.parametrize(
    ("projection", "circle_mm"), [("equidistant", 20.0), ("orthographic", None), ("rectilinear", 30.0)]
)
def test_it_is_black_outside_the_image_circle(projection: str, circle_mm: float | None) -> None:
    lens = {"projection": projection} | ({} if circle_mm is None else {"image_circle_mm": circle_mm})
    spec = lens_spec(kit_of(8.0, lens=lens))
    look = rays(spec, 400, 600)
    column, row = np.meshgrid((np.arange(400) + 0.5) / 400 - 0.5, (np.arange(600) + 0.5) / 600 - 0.5)
    radius_mm = np.hypot(column * 24, row * 36)
    end_mm = 8.0 if circle_mm is None else circle_mm / 2
    np.testing.assert_array_equal(np.isnan(look[0]), radius_mm > end_mm)


def test_between_the_lines_of_the_table_the_law_holds() -> None:
    for projection, _, focal_mm, _ in LENSES:
        spec = lens_spec(kit_of(focal_mm, lens={"projection": projection}))
        angle = np.linspace(0.01, 1.2, 997) if projection != "rectilinear" else np.linspace(0.01, 0.93, 997)
        law = {
            "rectilinear": np.tan(angle),
            "equidistant": angle,
            "equisolid": 2 * np.sin(angle / 2),
            "stereographic": 2 * np.tan(angle / 2),
            "orthographic": np.sin(angle),
        }[projection]
        found = np.interp(law * focal_mm, spec.radius_mm, spec.angle_rad)
        np.testing.assert_allclose(found, angle, rtol=0, atol=1e-7)


def test_what_the_camera_says_about_itself() -> None:
    kit = kit_of(
        10.0,
        camera={"sensor_width_mm": 18.0, "sensor_height_mm": 12.0, "pixels_wide": 3000, "pixels_high": 2000},
    )
    name = camera_name(kit)
    assert (name.make, name.model, name.focal_length_mm, name.focal_length_35mm) == (None, None, 10.0, 20)
