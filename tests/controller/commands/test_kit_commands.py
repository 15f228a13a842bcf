"""Kits found, written, read from pictures and explained."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from PIL.ExifTags import IFD, Base
from PIL.TiffImagePlugin import IFDRational

from controller.errors import InputError
from controller.kit.kit import Kit
from controller.kit.lens_data import entries
from controller.kit.load import load_kit
from controller.kit.picture import shot_of
from controller.kit.search import exactly, search
from tests.controller.commands.shell import Shell, refuses

# Names as the open lens data has them.
CAMERA, LENS = "Nikon D750", "Nikon AI-S Nikkor 24mm f/2.8"
PIXELS = (6016, 4016)


def picture(path: Path, size: tuple[int, int] = (1600, 1066), more: Mapping[Any, Any] | None = None, **tags: Any) -> Path:
    """A photograph with this metadata."""
    exif = Image.Exif()
    for name, value in tags.items():
        exif[getattr(Base, name)] = value
    exif.get_ifd(IFD.Exif).update(more or {})
    Image.new("L", size).save(path, exif=exif)
    return path


def test_the_package_carries_what_it_is_said_to() -> None:
    """948 cameras and 1,304 lenses when this was written; later data has more."""
    kinds = [entry.kind for entry in entries()]
    assert kinds.count("camera") >= 900
    assert kinds.count("lens") >= 1200


@given(st.sampled_from(entries()))
def test_every_entry_is_found_by_its_own_words(entry: Any) -> None:
    assert (entry.maker, entry.model) in {(e.maker, e.model) for e in search([*entry.model.split(), entry.maker])}


@given(st.sampled_from([entry for entry in entries() if entry.kind == "camera"]))
def test_an_exact_name_is_that_camera_or_is_told_to_be_two(entry: Any) -> None:
    same = {(e.maker, e.model) for e in entries() if e.kind == "camera" and e.name.casefold() == entry.name.casefold()}
    if len(same) == 1:
        assert exactly("camera", entry.name).name == entry.name
    else:
        with pytest.raises(InputError, match="Is it one of"):
            exactly("camera", entry.name)


@pytest.mark.parametrize("name", ["Nikon D75", "D750", "Nikon D7500x", "nothing like it"])
def test_a_near_miss_is_never_taken(name: str) -> None:
    with pytest.raises(InputError, match="named exactly"):
        exactly("camera", name)


def test_find(shell: Shell) -> None:
    told = shell("kit", "find", "d750", "--cameras", "--json")
    found = json.loads(told.out)
    assert {"kind": "camera", "maker": "Nikon Corporation", "model": CAMERA}.items() <= found[0].items()
    assert CAMERA in shell("kit", "find", "D750").out
    assert refuses(shell, 2, "kit", "find", "no", "such", "thing")


def test_find_shows_the_closest_and_says_how_many_more_there_are(shell: Shell) -> None:
    words = ("kit", "find", "nikkor", "--lenses")
    lines = shell(*words).out.splitlines()
    every = shell(*words, "--all").out.splitlines()
    assert (len(lines), lines[:20]) == (21, every[:20])
    assert lines[20] == f"{len(every) - 20} more. Add a word, or --all to see them."
    assert "more" not in shell("kit", "find", "d750").out


def test_a_new_kit_can_be_planned_and_explained(shell: Shell) -> None:
    words = ("kit", "new", "--camera", CAMERA, "--lens", LENS, "--pixels", "6016x4016", "--out", "new.toml")
    assert shell(*words).status == 0
    kit = load_kit(shell.folder / "new.toml")
    assert kit.camera.used_pixels == PIXELS
    assert kit.lens.focal_length_mm == 24.0
    assert kit.camera.sensor_width_mm == pytest.approx(36, abs=0.1)
    assert "exists already" in refuses(shell, 1, *words)[0]
    lines = {line["what"]: line["value"] for line in json.loads(shell("kit", "check", "new.toml", "--json").out)}
    # 2 atan(12 / 24) and 2 atan(18 / 24), upright (arithmetic)
    assert lines["field of view"].startswith(f"{2 * math.degrees(math.atan(0.5)):.1f}")
    assert lines["pan: steps per degree"] == "320.000"
    assert "settle" in shell("kit", "check", "new.toml").out
    assert shell("plan", "new.toml", "--out", "p.json").status == 0


def test_a_kit_that_cannot_be_is_not_written(shell: Shell) -> None:
    zoom = next(e for e in entries() if e.kind == "lens" and e.min_focal_mm != e.max_focal_mm and e.projection)
    new = ("kit", "new", "--camera", CAMERA, "--pixels", "6016x4016", "--out", "new.toml")
    assert "named exactly" in refuses(shell, 2, *new[:2], "--camera", "D75", *new[4:], "--focal-length-mm", "24")[0]
    assert "--lens or --focal-length-mm is missing" in refuses(shell, 2, *new)[-1]
    assert "Say the focal length" in refuses(shell, 2, *new, "--lens", zoom.name)[0]
    assert refuses(shell, 2, *new[:5], "wide", *new[6:])


def test_from_a_picture(shell: Shell) -> None:
    """Names are padded with zeros, as some cameras write them; a rational of 0/0 means unknown (CIPA DC-008)."""
    more = {
        Base.LensModel: LENS + "\0\0", Base.FocalLength: IFDRational(24, 1), Base.ExposureTime: IFDRational(1, 50),
        Base.ExifImageWidth: 1600, Base.ExifImageHeight: 1066, Base.FocalLengthIn35mmFilm: 24,
    }  # fmt: skip
    picture(shell.folder / "a.jpg", more=more, Make="NIKON CORPORATION\0\0\0", Model="NIKON D750\0")
    told = shell("kit", "from-picture", "a.jpg", "--out", "new.toml", "--json")
    assert told.status == 0, told.err
    found = json.loads(told.out)
    assert (found["camera"]["model"], found["lens"]["model"]) == (CAMERA, LENS)
    kit = load_kit(shell.folder / "new.toml")
    assert (kit.exposure.shutter_seconds, kit.camera.pixels_wide) == (0.02, 1600)
    assert "No picture says anything about the head" in shell("kit", "from-picture", "a.jpg").out


def test_what_a_picture_does_not_say_is_told(shell: Shell) -> None:
    nan = {Base.FocalLength: IFDRational(0, 0), Base.ExifImageWidth: 6016, Base.ExifImageHeight: 4016}
    shot = shot_of(picture(shell.folder / "b.jpg", more=nan, Make="Some", Model="Thing"))
    assert (shot.focal_length_mm, shot.resized) == (None, True)
    said = shell("kit", "from-picture", "b.jpg").out
    for words in ("Thing", "does not name its lens", "does not say its focal length", "made smaller or cropped"):
        assert words in said
    assert "as it came from the camera" in refuses(shell, 2, "kit", "from-picture", "b.jpg", "--out", "new.toml")[0]
    shell.write("c.jpg", "no picture")
    assert "is not a photograph" in refuses(shell, 2, "kit", "from-picture", "c.jpg")[0]


def test_the_sensor_of_an_unknown_camera_follows_from_two_focal_lengths(shell: Shell) -> None:
    more = {Base.FocalLength: IFDRational(16, 1), Base.FocalLengthIn35mmFilm: 24}
    picture(shell.folder / "d.jpg", more=more, Make="Some", Model="Thing")
    assert shell("kit", "from-picture", "d.jpg", "--out", "new.toml").status == 0
    kit = load_kit(shell.folder / "new.toml")
    diagonal = math.hypot(kit.camera.sensor_width_mm, kit.camera.sensor_height_mm)
    assert diagonal == pytest.approx(math.hypot(36, 24) / 1.5, rel=0.001)


def test_a_circular_fisheye_is_explained_by_its_circle(shell: Shell) -> None:
    """An equisolid picture of radius 2 f sin(45 degrees) ends at 90 degrees (Ray 2002)."""
    shell.write("fish.toml", (
        "camera = { sensor_width_mm = 36.0, sensor_height_mm = 24.0, pixels_wide = 6000, pixels_high = 4000 }\n"
        f"lens = {{ focal_length_mm = 8.0, projection = 'equisolid', image_circle_mm = {32 * math.sin(math.pi / 4)} }}\n"
    ))  # fmt: skip
    told = shell("kit", "check", "fish.toml")
    assert "180.00° x 180.00°  (equisolid at 8 mm, image circle 180.00° across; stated)" in told.out


def test_the_schema_takes_a_camera_by_name_and_explains_every_key(shell: Shell) -> None:
    schema = json.loads(shell("kit", "schema").out)
    assert schema["properties"].keys() == Kit.model_json_schema()["properties"].keys()
    assert {"required": ["make", "model"]} in schema["$defs"]["Camera"]["anyOf"]
    for table in schema["$defs"].values():
        assert all(part["description"] for part in table.get("properties", {}).values())
