"""`fullturn inspect` and `match --pictures`: what they write, print and refuse."""

from __future__ import annotations

import contextlib
import csv
import json
import shutil
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from PIL import Image, ImageFilter

from controller.calibration.records import AxisName
from controller.extras import line_to_add
from controller.matching.sidecar import POSE
from tests.controller.commands.shell import HEADLESS, Shell, refuses
from tests.repo.guide import call

SOFT, COUNT = 1, 4
WINDOW = ("--pitch-from", "-20", "--pitch-to", "20", "--yaw-from", "-60", "--yaw-to", "60", "--overlap", "0.35")
INSPECT = ("inspect", "run/session.sqlite", "card")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a rehearsal of four frames and its pictures."""
    folder = tmp_path_factory.mktemp("made")
    kit = HEADLESS.replace("= 12.0", "= 24.0").replace("[-1, 1]", "[0]")
    (folder / "kit.toml").write_text(kit, encoding="utf-8")
    with contextlib.chdir(folder):
        for words in (
            ["plan", "kit.toml", "--out", "plan.json", "--region", "window", *WINDOW],
            ["rehearse", "plan.json", "--out", "run", "--pictures", "card", "--scale", "0.12"],
        ):
            status, printed = call(words)
            assert status == 0, printed
    return folder


@pytest.fixture
def seen(made: Path, shell: Shell) -> Shell:
    for name in ("run", "card"):
        shutil.copytree(made / name, shell.folder / name)
    shutil.copy(made / "kit.toml", shell.folder / "kit.toml")
    return shell


def soften(card: Path) -> None:
    path = sorted(card.iterdir())[SOFT]
    with Image.open(path) as image:
        image.filter(ImageFilter.GaussianBlur(2.5)).save(path, exif=image.getexif(), quality=92)


def test_a_sound_set_writes_tables_sheet_and_sidecars(seen: Shell) -> None:
    before = {path: path.read_bytes() for path in (seen.folder / "card").iterdir()}
    told = seen(*INSPECT, "--out", "proof", "--xmp")
    assert told.status == 0, told
    assert f"{COUNT} frames of {COUNT} linked with their neighbours." in told.out
    assert "retake" not in told.out
    assert before == {path: path.read_bytes() for path in (seen.folder / "card").iterdir()}
    names = {path.name for path in (seen.folder / "proof").iterdir()}
    assert names == {"poses.csv", "poses.json", "inspection.json", "proof.html", "sphere.jpg", "sidecars"}
    with (seen.folder / "proof/poses.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == COUNT
    for row in rows:
        sidecar = ET.parse(seen.folder / "proof/sidecars" / Path(row["file"]).with_suffix(".xmp"))
        own = {one.tag.removeprefix(f"{{{POSE}}}"): one.text or "" for one in sidecar.iter() if POSE in one.tag}
        assert own.keys() == {name for name, text in row.items() if text or name == "faults"}
        for name, text in own.items():
            numeric = text.replace(".", "").replace("-", "").isdecimal() and name != "bracket_group"
            assert float(text) == pytest.approx(float(row[name])) if numeric else text == row[name]


def test_a_spoilt_frame_is_named_first_and_to_be_shot_again(seen: Shell) -> None:
    soften(seen.folder / "card")
    told = seen(*INSPECT)
    found = json.loads(seen(*INSPECT, "--json").out)
    frame = found["retake"]
    assert told.out.splitlines()[:-1] == found["sentences"]
    assert told.status == 1
    assert len(frame) == 1
    assert told.out.startswith(f"Frame {frame[0]}: ")
    assert told.out.endswith(f"To reshoot: `fullturn tell run/session.sqlite retake {frame[0]}`\n")
    allowed = seen(*INSPECT, "--limit", "detail=0.05", "--json")
    assert json.loads(allowed.out)["retake"] == []
    assert allowed.status == 0


def test_match_inspects_as_its_last_step_and_sorts_with_what_was_measured(seen: Shell) -> None:
    words = ("match", "run/session.sqlite", "card", "--out", "home", "--sort", "frame", "--pictures")
    told = seen(*words, "--xmp", "--json")
    assert told.status == 0, told
    assert json.loads(told.out)["inspection"]["retake"] == []
    assert (seen.folder / "home/inspection/proof.html").is_file()
    sidecars = sorted((seen.folder / "home/pictures").rglob("*.xmp"))
    assert len(sidecars) == COUNT
    assert all("<pose:yaw_u_deg>" in path.read_text(encoding="utf-8") for path in sidecars)


def test_results_become_records_only_if_asked(seen: Shell) -> None:
    told = seen(*INSPECT, "--calibrate", "kit.toml")
    assert told.status == 0
    assert f"steps per degree of {AxisName.PAN.value} (95 %)" in told.out
    assert f"Not stored. Steps per degree of {AxisName.TILT.value}: " in told.out
    assert (seen.folder / "kit.calibration.json").is_file()


@pytest.mark.parametrize(
    ("status", "words", "part"),
    [
        (2, (*INSPECT, "--limit", "detail=2"), "--limit: 'detail=2' cannot be used. Write detail= and a number from"),
        (2, (*INSPECT, "--limit", "detail=1_0"), "--limit: 'detail=1_0' cannot be used."),
        (2, (*INSPECT, "--limit", "colour=1"), "--limit: 'colour=1' names no limit."),
        (2, (*INSPECT, "--xmp"), "--out"),
        (2, (*INSPECT, "--yes"), "--out"),
        (2, (*INSPECT, "--nearest-mm", "900", "--axis-height-mm", "1500"), "--axis-height-mm"),
        (1, (*INSPECT, "--out", "card/proof"), "is inside card"),
        (1, (*INSPECT, "--out", "run"), "not empty"),
    ],
)
def test_what_cannot_be_meant_is_refused_before_the_work(
    status: int, words: tuple[str, ...], part: str, seen: Shell
) -> None:
    assert part in " ".join(refuses(seen, status, *words))


def test_without_the_library_it_says_what_to_install(seen: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "cv2", None)
    assert line_to_add("pictures") in " ".join(refuses(seen, 2, *INSPECT))


def test_pictures_of_another_shape_are_refused(seen: Shell) -> None:
    for path in (seen.folder / "card").iterdir():
        with Image.open(path) as image:
            image.resize((image.width, image.width)).save(path, exif=image.getexif())
    assert "is not the shape of the kit's" in " ".join(refuses(seen, 2, *INSPECT))


def test_pictures_too_small_to_compare_are_refused(seen: Shell) -> None:
    for path in (seen.folder / "card").iterdir():
        with Image.open(path) as image:
            small = image.resize((image.width // 4, image.height // 4))
            small.save(path, exif=image.getexif())
    told = seen(*INSPECT)
    assert told.status == 2
    assert "too small to compare. Give them as the camera wrote them." in told.err


def test_the_limits_are_listed_with_their_reasons(shell: Shell) -> None:
    told = shell("inspect", "--limits")
    assert told.status == 0
    assert told.out.startswith("points=")
    assert all(line.endswith(".") for line in told.out.splitlines())
