"""`fullturn rehearse --pictures` from outside: files, sentences, and nothing half-written."""

from __future__ import annotations

import json
from pathlib import Path

import exifread
import numpy as np
import pytest
from PIL import Image

from controller.commands import pictures
from tests.controller.commands.shell import Shell, refuses

pytestmark = pytest.mark.usefixtures("undrawn")
REHEARSE = ("rehearse", "plan.json", "--out", "run")
SMALL = ("--scale", "0.02")


def test_one_picture_for_each_true_exposure(planned: Shell) -> None:
    told = planned(*REHEARSE, "--pictures", "run/photos", *SMALL)
    assert told.status == 0
    truth = json.loads((planned.folder / "run/truth.json").read_text(encoding="utf-8"))["exposures"]
    names = sorted(path.name for path in (planned.folder / "run/photos").iterdir())
    assert names == [f"FULL{number:04}.JPG" for number in range(1, len(truth) + 1)]
    assert told.out.splitlines()[-1] == f"{len(truth)} pictures of what the camera saw: {Path('run/photos')}"
    assert f"Rendering, pictures: {len(truth)} of {len(truth)}" in told.err
    for name, exposure in zip(names, truth, strict=True):
        with (planned.folder / "run/photos" / name).open("rb") as file:
            tags = exifread.process_file(file)
        (shutter,) = tags["EXIF ExposureTime"].values
        assert float(shutter) == pytest.approx(exposure["shutter_s"], rel=1e-5)
        assert str(tags["EXIF FocalLength"]) == "12"
        assert tags["EXIF ExifImageWidth"].values == [120]
    assert not list(planned.folder.rglob(".photos*"))


def test_as_json_it_says_where_and_how_many(planned: Shell) -> None:
    told = planned(*REHEARSE, "--pictures", "photos", *SMALL, "--json")
    shown = json.loads(told.out)
    count = shown["exposures_made"]
    assert shown["pictures"] == {"folder": "photos", "count": count}
    assert len(list((planned.folder / "photos").iterdir())) == count


def test_the_usual_size(planned: Shell) -> None:
    assert planned("plan", "kit.toml", "--out", "one.json", "--region", "single-row", "--row-pitch", "0").status == 0
    assert planned("rehearse", "one.json", "--out", "run", "--pictures", "photos").status == 0
    with Image.open(planned.folder / "photos/FULL0001.JPG") as image:
        assert image.size == (1000, 667)


def test_the_same_seed_gives_the_same_pictures(planned: Shell) -> None:
    for name in ("a", "b"):
        assert planned("rehearse", "plan.json", "--out", f"run-{name}", "--pictures", name, *SMALL).status == 0
    for path in (planned.folder / "a").iterdir():
        assert path.read_bytes() == (planned.folder / "b" / path.name).read_bytes()


def test_a_rehearsal_is_the_same_with_pictures(planned: Shell) -> None:
    assert planned(*REHEARSE).status == 0
    assert planned("rehearse", "plan.json", "--out", "other", "--pictures", "photos", *SMALL).status == 0
    for name in ("truth.json", "report.json", "report.html"):
        assert (planned.folder / "run" / name).read_bytes() == (planned.folder / "other" / name).read_bytes()


def test_somebodys_own_scenery(planned: Shell) -> None:
    half = np.zeros((100, 200, 3), dtype=np.uint8)
    half[:50] = (255, 0, 0)
    Image.fromarray(half).save(planned.folder / "hall.png")
    assert planned(*REHEARSE, "--pictures", "photos", *SMALL, "--scenery", "hall.png").status == 0
    with Image.open(planned.folder / "photos/FULL0001.JPG") as image:
        colours = np.asarray(image).reshape(-1, 3)
    assert np.median(colours[colours[:, 0] > 90, 0]) == pytest.approx(188, abs=3)  # the bracket begins at -1 EV
    assert colours[:, 2].max() < 90


def test_a_folder_with_something_in_it(planned: Shell) -> None:
    (planned.folder / "photos").mkdir()
    planned.write("photos/mine.txt", "keep")
    (line,) = refuses(planned, 1, *REHEARSE, "--pictures", "photos")
    assert line == "photos is not empty. Choose another place."
    assert refuses(planned, 1, *REHEARSE, "--pictures", "kit.toml") == [
        "kit.toml is a file, not a folder. Choose another place."
    ]


@pytest.mark.parametrize(("out", "photos"), [("run", "run"), ("run/deep", "run"), ("run", ".")])
def test_the_rehearsals_own_folder(planned: Shell, out: str, photos: str) -> None:
    (line,) = refuses(planned, 2, "rehearse", "plan.json", "--out", out, "--pictures", photos)
    assert "choose another" in line


def test_an_empty_folder_is_taken(planned: Shell) -> None:
    (planned.folder / "photos").mkdir()
    assert planned(*REHEARSE, "--pictures", "photos", *SMALL).status == 0
    assert (planned.folder / "photos/FULL0001.JPG").exists()


def test_scenery_of_the_wrong_shape(planned: Shell) -> None:
    Image.new("RGB", (200, 150)).save(planned.folder / "flat.jpg")
    (line,) = refuses(planned, 2, *REHEARSE, "--pictures", "photos", "--scenery", "flat.jpg")
    assert line == "flat.jpg: is 200 x 150 pixels. Scenery must be equirectangular, twice as wide as high."
    (line,) = refuses(planned, 2, *REHEARSE, "--pictures", "photos", "--scenery", "kit.toml")
    assert line == "kit.toml: is not a picture that can be read. Give a JPEG, PNG or TIFF."


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (("--pictures", "photos", "--scale", "0.0001"), "leaves pictures of"),
        (("--pictures", "photos", "--scale", "1.5"), "--scale"),
        (("--pictures", "photos", "--scale", "0"), "--scale"),
        (("--scale", "0.5"), "--pictures"),
        (("--scenery", "kit.toml"), "--pictures"),
        (("--pupil-offset-mm", "1", "2"), "--pictures"),
        (("--pictures", "photos", "--pupil-offset-mm", "nan", "0"), "not a number"),
        (("--pictures", "photos", "--scenery", "nothing.jpg"), "nothing.jpg"),
    ],
)
def test_wrong_use(planned: Shell, words: tuple[str, ...], part: str) -> None:
    assert part in refuses(planned, 2, *REHEARSE, *words)[-1]


def test_a_disk_that_fills_up_leaves_no_half_of_the_pictures(planned: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    written = 0

    def save(path: Path, *_: object, **__: object) -> None:
        nonlocal written
        written += 1
        path.write_bytes(b"something")
        if written == 3:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(pictures, "save_photograph", save)
    told = planned(*REHEARSE, "--pictures", "photos", *SMALL)
    assert told.status == 1
    assert told.out == ""
    assert "the disk is full" in told.err.splitlines()[-1]
    assert written == 3
    assert {name for name in planned.files() if "photos" in name} == set()
    assert (planned.folder / "run/session.sqlite").exists()


def test_an_interrupt_leaves_no_half_of_the_pictures(planned: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    def save(path: Path, *_: object, **__: object) -> None:
        path.write_bytes(b"something")
        raise KeyboardInterrupt

    monkeypatch.setattr(pictures, "save_photograph", save)
    assert planned(*REHEARSE, "--pictures", "photos", *SMALL).status == 1
    assert {name for name in planned.files() if "photos" in name} == set()


def test_near_things_shift_when_the_lens_is_off(planned: Shell) -> None:
    for name, offset in (("a", ("0", "0")), ("b", ("80", "-20"))):
        words = ("--pictures", name, "--scale", "0.05", "--pupil-offset-mm", *offset)
        assert planned("rehearse", "plan.json", "--out", f"run-{name}", *words).status == 0
    different = 0
    for path in (planned.folder / "a").iterdir():
        one, other = (np.asarray(Image.open(file)).astype(int) for file in (path, planned.folder / "b" / path.name))
        different += bool(np.abs(one - other).max() > 60)
    assert different > 3


def test_a_kit_of_one_picture_of_its_own(shell: Shell) -> None:
    """A circular picture: black outside the image circle."""
    text = (
        (shell.folder / "kit.toml")
        .read_text(encoding="utf-8")
        .replace("focal_length_mm = 12.0", 'focal_length_mm = 8.0\nprojection = "equidistant"\nimage_circle_mm = 20.0')
    )
    shell.write("round.toml", text)
    assert shell("plan", "round.toml", "--out", "plan.json").status == 0
    assert shell(*REHEARSE, "--pictures", "photos", *SMALL).status == 0
    with Image.open(shell.folder / "photos/FULL0002.JPG") as image:
        picture = np.asarray(image).astype(int)
    assert picture[:12, :12].max() < 40
    assert picture[36:44, 56:64].min() > 10
