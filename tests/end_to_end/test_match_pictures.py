"""`fullturn match --pictures` on photographs of a whole rehearsal: as they are, and with some damaged on purpose."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageFilter

from tests.controller.commands.shell import Shell

KIT = """
[camera]
sensor_width_mm = 36.0
sensor_height_mm = 24.0
pixels_wide = 6000
pixels_high = 4000
[lens]
focal_length_mm = 24.0
[exposure]
bracket_ev = [-1, 0, 1]
"""
SOFT, ELSEWHERE, DARK = 4, 7, 2


@pytest.fixture
def shell(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Shell:
    """A rehearsal with its card: one row, in order."""
    found = Shell(tmp_path, capsys, monkeypatch)
    found.write("kit.toml", KIT)
    row = ("--region", "single-row", "--row-pitch", "0", "--order", "rows", "--overlap", "0.4")
    assert found("plan", "kit.toml", "--out", "plan.json", *row).status == 0
    assert found("rehearse", "plan.json", "--out", "run", "--pictures", "card", "--scale", "0.15").status == 0
    return found


def changed(path: Path, picture: Image.Image) -> None:
    with Image.open(path) as image:
        exif = image.getexif()
    picture.save(path, exif=exif, quality=92)


def as_turned(image: Image.Image, by_deg: float) -> Image.Image:
    """A picture as if the camera had been turned by so much along its short side.

    A turn maps pixels by K R K^-1 (R. Hartley and A. Zisserman, Multiple View Geometry, 2nd ed. 2004, section 8.4).
    """
    focal_px, turn = 24.0 / 36.0 * image.width, np.radians(by_deg)
    camera = np.array([[focal_px, 0, image.width / 2], [0, focal_px, image.height / 2], [0, 0, 1]])
    rotation = np.array([[1, 0, 0], [0, np.cos(turn), -np.sin(turn)], [0, np.sin(turn), np.cos(turn)]])
    back = camera @ rotation @ np.linalg.inv(camera)
    numbers = tuple((back / back[2, 2]).ravel()[:8].tolist())
    return image.transform(image.size, Image.Transform.PERSPECTIVE, numbers, Image.Resampling.BICUBIC)


def middle(frame: int) -> Path:
    """The middle exposure of a frame, by the number in its name."""
    return Path("card") / f"FULL{3 * frame + 2:04}.JPG"


@pytest.mark.long
def test_spoilt_pictures_are_found_and_others_are_not(shell: Shell) -> None:
    whole = json.loads(shell("match", "run/session.sqlite", "card", "--pictures", "--json").out)
    assert whole["retake"] == []
    by_file = {line["file"]: line for line in whole["lines"]}
    examined = {one["frame"]: Path("card") / one["file"] for one in whole["inspection"]["frames"]}
    frames = {frame: by_file[middle(frame).name]["frame"] for frame in (SOFT, ELSEWHERE, DARK)}
    soft = examined[frames[SOFT]]
    with Image.open(soft) as image:
        changed(soft, image.filter(ImageFilter.GaussianBlur(2.5)))
    for number in (1, 2, 3):
        path = Path("card") / f"FULL{3 * ELSEWHERE + number:04}.JPG"
        with Image.open(path) as image:
            changed(path, as_turned(image, 2.0))
    dark, darkest = middle(DARK), middle(DARK).with_name(f"FULL{3 * DARK + 1:04}.JPG")
    with Image.open(darkest) as image:  # half as bright as the exposure before it, where it should be twice as bright
        changed(dark, image.point(lambda code: code * 0.73))
    told = shell("match", "run/session.sqlite", "card", "--pictures", "--json")
    found = json.loads(told.out)
    notes: dict[int, str] = {}
    for line in found["lines"]:
        notes[line["frame"]] = " ".join([notes.get(line["frame"], ""), *line["notes"]])
    assert told.status == 1
    assert found["retake"] == sorted(frames.values())
    assert "of its neighbours' detail." in notes[frames[SOFT]]
    assert "turned" in notes[frames[ELSEWHERE]]
    assert "planned +1.0 EV" in notes[frames[DARK]]


def test_a_picture_that_cannot_be_decoded_is_noted(shell: Shell) -> None:
    shutil.copytree("card", "copy")
    spoilt = Path("copy") / "FULL0005.JPG"
    data = spoilt.read_bytes()
    spoilt.write_bytes(data[: data.index(b"\xff\xc0") + 20] + b"\xff\xd9")  # it ends correctly, but is incomplete
    found = json.loads(shell("match", "run/session.sqlite", "copy", "--pictures", "--json").out)
    frame = next(line["frame"] for line in found["lines"] if line["file"] == "FULL0005.JPG")
    notes = " ".join(note for line in found["lines"] if line["frame"] == frame for note in line["notes"])
    assert "FULL0005.JPG: is not a photograph that can be read: its pixels are damaged, or cut short." in notes
    assert found["retake"] == [frame]
