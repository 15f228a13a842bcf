"""Names looked up in the open lens data of the lensfun project (CC BY-SA 3.0) through lensfunpy."""

from __future__ import annotations

from typing import Any

import pytest

from controller.kit.lens_data import sensor_size_mm
from tests.controller.kit.tables import Tables, changed, kit_with, sentences

PIXELS = {"pixels_wide": 6016, "pixels_high": 4016}
FULL_FRAME = {"make": "Nikon Corporation", "model": "Nikon D750", **PIXELS}
ZOOM = {"make": "Nikon", "model": "NIKKOR Z 24-70mm f/2.8 S"}


def camera_of(table: dict[str, Any]) -> Tables:
    return {"camera": table}


def lens_of(make: str, model: str, **more: object) -> Tables:
    return {"lens": {"make": make, "model": model, **more}}


@pytest.mark.parametrize(
    ("crop_factor", "pixels", "size"),
    [  # computed from crop factors in the lensfun data: the diagonal of 36 x 24 mm through the crop factor
        (1.534, (6000, 4000), (23.468, 15.645)),
        (1.523, (6000, 4000), (23.638, 15.758)),
        (1.613, (6000, 4000), (22.319, 14.879)),
        (2.0, (5184, 3888), (17.307, 12.980)),
        (1.0, (6000, 4000), (36.0, 24.0)),
    ],
)
def test_sensor_size_from_the_crop_factor(crop_factor: float, pixels: tuple[int, int], size: tuple[float, float]) -> None:
    assert sensor_size_mm(crop_factor, *pixels) == pytest.approx(size, abs=6e-4)


@pytest.mark.parametrize(
    ("make", "model", "pixels", "size"),
    [  # crop factors 1.0, 1.534, 2.0 in the lensfun data
        ("Nikon Corporation", "Nikon D750", (6000, 4000), (36.0, 24.0)),
        ("Fujifilm", "X-T3", (6000, 4000), (23.468, 15.645)),
        ("Olympus Imaging Corp.", "E-M1MarkII", (5184, 3888), (17.307, 12.980)),
    ],
)
def test_an_exact_model_gives_the_sensor_size(
    make: str, model: str, pixels: tuple[int, int], size: tuple[float, float]
) -> None:
    table = {"make": make, "model": model, "pixels_wide": pixels[0], "pixels_high": pixels[1]}
    camera = kit_with(camera_of(table)).camera
    assert (camera.sensor_width_mm, camera.sensor_height_mm) == pytest.approx(size, abs=1e-3)
    assert (camera.make, camera.model) == (make, model)


@pytest.mark.parametrize(
    ("make", "model"),
    [
        ("NIKON CORPORATION", "NIKON D750"),
        ("nikon  corporation", " Nikon D750 "),
        ("Nikon Corporation\0", "Nikon D750\0"),
    ],
)
def test_case_and_blanks_do_not_matter(make: str, model: str) -> None:
    assert kit_with(camera_of({"make": make, "model": model, **PIXELS})).camera.sensor_width_mm > 35.9


@pytest.mark.parametrize(
    ("make", "model"),
    [
        ("OLYMPUS CORPORATION", "E-M1MarkII"),  # the data's own loose search returns another camera
        ("Nikon Corporation", "D750"),
        ("Nikon Corporation", "Nikon D75"),
        ("Nikon Corporation", "Nikon D7501"),
        ("Nikon", "Nikon D750"),
        ("", ""),
    ],
)
def test_a_near_miss_is_refused(make: str, model: str) -> None:
    (sentence,) = sentences(camera_of({"make": make, "model": model, **PIXELS}))
    for word in ("kit.toml: ", "camera", f'"{make}"', f'"{model}"', "sensor size"):
        assert word in sentence


def test_a_size_that_is_given_wins_over_the_data() -> None:
    given = {**FULL_FRAME, "sensor_width_mm": 35.9, "sensor_height_mm": 23.97}
    camera = kit_with(camera_of(given)).camera
    assert (camera.sensor_width_mm, camera.sensor_height_mm) == (35.9, 23.97)


@pytest.mark.parametrize(
    ("make", "model", "focal", "projection"),
    [  # types and focal lengths from the lensfun data
        ("Sigma", "Sigma 8mm f/3.5 EX DG Circular", 8.0, "equisolid"),
        ("Samyang", "Samyang 12mm f/2.8 Fish-Eye ED AS NCS", 12.0, "stereographic"),
        ("BelOMO", "MC Peleng 3.5/8", 8.0, "equidistant"),
        ("Nikon", "Nikon AI-S Nikkor 24mm f/2.8", 24.0, "rectilinear"),
    ],
)
def test_a_prime_gives_its_focal_length_and_projection(make: str, model: str, focal: float, projection: str) -> None:
    lens = kit_with({**camera_of(FULL_FRAME), **lens_of(make, model)}).lens
    assert (lens.focal_length_mm, str(lens.projection)) == (focal, projection)


@pytest.mark.parametrize(("crop_camera", "projection"), [(1.523, "equidistant"), (1.593, "equisolid")])
def test_a_lens_measured_on_two_sensors_follows_the_camera(crop_camera: float, projection: str) -> None:
    # Sigma 10 mm: equidistant as measured at crop 1.523, equisolid at 1.622 (lensfun data).
    bodies = {
        1.523: {"make": "Nikon Corporation", "model": "Nikon D7000", "pixels_wide": 4928, "pixels_high": 3264},
        1.593: {"make": "Kodak", "model": "DCS520", "pixels_wide": 1728, "pixels_high": 1152},
    }
    tables = {**camera_of(bodies[crop_camera]), **lens_of("Sigma", "Sigma 10mm f/2.8 EX DC Fisheye HSM")}
    assert str(kit_with(tables).lens.projection) == projection


def test_a_projection_that_is_given_wins_over_the_data() -> None:
    lens = kit_with(lens_of("BelOMO", "MC Peleng 3.5/8", projection="equisolid")).lens
    assert str(lens.projection) == "equisolid"


@pytest.mark.parametrize("focal", [24, 50.0, 70])
def test_a_zoom_takes_a_focal_length_in_its_range(focal: float) -> None:
    assert kit_with(lens_of(**ZOOM, focal_length_mm=focal)).lens.focal_length_mm == focal


@pytest.mark.parametrize("focal", [18, 23.0, 72.0, 105])
def test_a_zoom_refuses_a_focal_length_outside_its_range(focal: float) -> None:
    (sentence,) = sentences(lens_of(**ZOOM, focal_length_mm=focal))
    for word in (f"lens.focal_length_mm = {focal:g}", ZOOM["model"], "24 to 70 mm"):
        assert word in sentence


def test_a_zoom_needs_its_focal_length() -> None:
    assert sentences(lens_of(**ZOOM)) == ("kit.toml: lens.focal_length_mm is missing.",)


def test_a_lens_that_cannot_be_planned_is_refused() -> None:
    (sentence,) = sentences(lens_of("Generic", "Panoramic 10-100mm f/1.0", focal_length_mm=20))
    assert "Panoramic 10-100mm f/1.0" in sentence
    assert "projection" in sentence


@pytest.mark.parametrize("part", ["camera", "lens"])
@pytest.mark.parametrize("only", [{"make": "Nikon"}, {"model": "Nikon D750"}, {"make": 3, "model": "Nikon D750"}])
def test_make_and_model_belong_together(part: str, only: dict[str, object]) -> None:
    tables = changed({})
    sentence, *_ = sentences({part: {**tables[part], **only}})
    assert f"{part}: make and model belong together" in sentence


def test_two_unknown_names_are_two_sentences() -> None:
    first, second = sentences({**camera_of({"make": "Nobody", "model": "Nothing", **PIXELS}), **lens_of("No", "Glass")})
    assert 'camera.make = "Nobody"' in first
    assert 'lens.make = "No"' in second
