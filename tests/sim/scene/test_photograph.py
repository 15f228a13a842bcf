"""Photographs as files, read back with an independent reader (the package exifread)."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction
from pathlib import Path
from typing import Any

import exifread
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageOps

from sim.scene.photograph import CameraName, ExposureMoment, save_photograph

CAMERA = CameraName("Imagined", "Box One", None, "Pinhole 24mm", 24.0, 24, 8.0)
MOMENT = ExposureMoment(datetime(2026, 6, 21, 9, 0, 4, 6_000, tzinfo=UTC), 0.0125, -1.0)
PICTURE = np.zeros((30, 20, 3), dtype=np.uint8)
PICTURE[:15, :10, 0] = 255  # red at the top left


def tags(path: Path) -> dict[str, Any]:
    with path.open("rb") as file:
        found: dict[str, Any] = exifread.process_file(file)
    return found


def test_what_the_file_says(tmp_path: Path) -> None:
    """Tags by their names in CIPA DC-008."""
    path = tmp_path / "FULL0001.JPG"
    save_photograph(path, PICTURE, CAMERA, MOMENT, portrait=False)
    said = {name.split()[-1]: str(value) for name, value in tags(path).items()}
    expected = {
        "Make": "Imagined",
        "Model": "Box One",
        "LensModel": "Pinhole 24mm",
        "FocalLength": "24",
        "FocalLengthIn35mmFilm": "24",
        "ExposureTime": "1/80",
        "FNumber": "8",
        "ISOSpeedRatings": "100",
        "ExposureBiasValue": "-1",
        "DateTimeOriginal": "2026:06:21 09:00:04",
        "SubSecTimeOriginal": "006",
        "OffsetTimeOriginal": "+00:00",
        "ExifImageWidth": "20",
        "ExifImageLength": "30",
    }
    assert expected.items() <= said.items()
    assert tags(path)["Image Orientation"].values == [1]
    assert "LensMake" not in said


def test_portrait_files_lie_as_the_sensor_reads_and_say_so(tmp_path: Path) -> None:
    path = tmp_path / "FULL0001.JPG"
    save_photograph(path, PICTURE, CAMERA, MOMENT, portrait=True)
    assert tags(path)["Image Orientation"].values == [8]
    assert tags(path)["EXIF ExifImageWidth"].values == [30]
    with Image.open(path) as image:
        assert image.size == (30, 20)
        upright = np.asarray(ImageOps.exif_transpose(image)).astype(int)
    assert upright.shape == PICTURE.shape
    assert np.abs(upright[2:12, 2:7] - [255, 0, 0]).max() < 60
    assert upright[20:, 12:].max() < 60


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40, deadline=None)
@given(
    st.floats(1 / 8000, 3600),
    st.floats(1, 3000),
    st.datetimes(datetime(1990, 1, 1), datetime(2090, 1, 1)),
    st.integers(-14 * 4, 14 * 4),
)
def test_numbers_come_back(tmp_path: Path, shutter_s: float, focal_mm: float, taken: datetime, quarters: int) -> None:
    path = tmp_path / "FULL0001.JPG"
    taken = taken.replace(tzinfo=timezone(timedelta(minutes=15 * quarters)))
    save_photograph(
        path,
        PICTURE,
        CameraName(None, None, None, None, focal_mm, round(focal_mm)),
        ExposureMoment(taken, shutter_s, 0.0),
        portrait=False,
    )
    said = tags(path)
    assert "Image Make" not in said
    assert "EXIF FNumber" not in said
    for name, value in (("ExposureTime", shutter_s), ("FocalLength", focal_mm)):
        (ratio,) = said[f"EXIF {name}"].values
        assert float(Fraction(ratio.num, ratio.den)) == pytest.approx(value, rel=1e-5)
    text = f"{said['EXIF DateTimeOriginal']}.{said['EXIF SubSecTimeOriginal']} {said['EXIF OffsetTimeOriginal']}"
    assert abs(datetime.strptime(text, "%Y:%m:%d %H:%M:%S.%f %z") - taken) < timedelta(milliseconds=1)
