"""`fullturn calibrate` with lenses, photographs and vibrations, as scripts and people use it."""

from __future__ import annotations

import io
import json
import math
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from controller.extras import line_to_add
from controller.program.timing import SETTLED_PX
from tests.controller.calibration.staged import Stage
from tests.controller.commands.shell import Shell, refuses
from tests.end_to_end.whole_runs import kit_of

PARALLAX = ("calibrate", "parallax", "--focal-length-mm", "24", "--pixel-um", "5.9")
MARKS = ("--near-mm", "1000", "--far-mm", "10000", "--angle-deg", "25", "--shift-px", "9.4757")
RING = ("calibrate", "steps", "--axis", "pan", "--commanded-steps", "4800", "--ring")
SETTLE = ("calibrate", "settle", "--from", "s.csv")
SMALL = kit_of(24.0, camera={"mounted": "landscape"})


def answer(shell: Shell, *words: str) -> dict[str, Any]:
    told = shell(*words, "--json")
    assert told.status == 0, told
    found: dict[str, Any] = json.loads(told.out)
    return found


def rings(hz: float = 6.0, count: int = 150, every_ms: float = 8.0) -> str:
    time = np.arange(count) * every_ms / 1000
    w = 2 * math.pi * hz
    noise = np.random.default_rng(1).normal(0, 0.002, count)
    value = 0.3 * np.exp(-0.05 * w * time) * np.cos(w * time) + noise
    return "time_ms,value\n" + "".join(f"{1000 * t:.1f},{v:.5f}\n" for t, v in zip(time, value, strict=True))


def test_parallax_as_scripts_ask_for_it(shell: Shell) -> None:
    found = answer(shell, *PARALLAX, *MARKS)
    assert found["offset_mm"] == pytest.approx(5.0, abs=1e-4)
    assert found["slide"] == "back"
    assert 0.7 < found["u_offset_mm"] < 1.2  # a pixel each for lining up and reading, at 25 degrees
    assert shell.files() == {"kit.toml"}
    told = shell(*PARALLAX, *MARKS)
    assert "slide the camera back by 5.0 mm" in told.out
    assert "Nothing was stored, because no kit was named" in told.out


def test_parallax_is_stored_beside_the_kit_unless_dry(shell: Shell) -> None:
    assert shell(*PARALLAX, *MARKS, "--kit", "kit.toml", "--dry").status == 0
    assert shell.files() == {"kit.toml"}
    words = ("--rail-mm", "80", "--rail-grows", "back", "--kit", "kit.toml", "--page", "p.html")
    assert "scale should be at 85.0 ± " in shell(*PARALLAX, *MARKS, *words).out
    assert shell.files() == {"kit.toml", "kit.calibration.json", "p.html"}
    told = shell("calibrate", "rail", "kit.toml", "--focal-length-mm", "35")
    assert "set the rail to 85.0 ± " in told.out
    assert "measure there before you rely on it" in told.out


def test_parallax_is_asked_for_step_by_step(shell: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("1000\n\n1e9\n25\nten\n10.52274\n"))
    told = shell(*PARALLAX, "--json")
    assert json.loads(told.out)["offset_mm"] == pytest.approx(5.0, abs=1e-4)
    assert "Turn the head to the left" in told.err
    assert "is not a number" in told.err
    monkeypatch.setattr("sys.stdin", io.StringIO("\n"))
    assert "nothing was typed in" in refuses(shell, 1, *PARALLAX)[-1]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--near-mm", "90", "--far-mm", "9000", "--angle-deg", "25", "--shift-px", "5"), "nearer than the camera"),
        (("--near-mm", "1000", "--far-mm", "1000", "--angle-deg", "25", "--shift-px", "5"), "well beyond"),
        (("--near-mm", "1000", "--far-mm", "9000", "--angle-deg", "0", "--shift-px", "5"), "--angle-deg 0"),
        (("--near-mm", "1000", "--angle-deg", "25", "--shift-px", "5"), "--far-mm or --far-at-least-mm"),
        (
            ("--near-mm", "1000", "--far-at-least-mm", "1100", "--angle-deg", "25", "--shift-px", "5"),
            "--far-at-least-mm 1100",
        ),
        (("--near-mm", "1000", "--far-mm", "9000", "--angle-deg", "25"), "--shift-px"),
        (("--near-mm", "1000", "--angle-deg", "nan", "--shift-px", "5"), "not a number"),
        (
            ("--near-mm", "1000", "--far-mm", "9000", "--nearest-mm", "10", "--angle-deg", "25", "--shift-px", "5"),
            "--nearest-mm 10",
        ),
    ],
)
def test_parallax_refuses_in_one_sentence(words: tuple[str, ...], said: str, shell: Shell) -> None:
    lines = refuses(shell, 2, *PARALLAX, *words, "--kit", "kit.toml")
    assert said in lines[-1]


def test_parallax_that_cannot_be_believed_is_not_stored(shell: Shell) -> None:
    (line,) = refuses(shell, 1, *PARALLAX, *MARKS[:-1], "3000", "--kit", "kit.toml")
    assert "no rail allows" in line


def test_beside_the_pan_axis(shell: Shell) -> None:
    words = ("--distance-mm", "1500", "--first-px", "60", "--second-px", "40", "--u-aim-deg", "0.02")
    found = answer(shell, "calibrate", "centre", *PARALLAX[2:], *words)
    # The mark is 50 px right of the middle on average: the lens is left of the axis by 50 px at 1.5 m.
    assert found["sideways_mm"] == pytest.approx(-50 * 5.9e-3 / 24 * 1500)
    assert found["slide"] == "right"


def test_settle_as_scripts_ask_for_it(shell: Shell) -> None:
    shell.write("s.csv", rings())
    found = answer(shell, *SETTLE, "--degrees-per-unit", "0.5", "--kit", "kit.toml", "--page", "s.html")
    assert found["ring_hz"] == pytest.approx(6.0, rel=0.01)
    assert found["ring_damping"] == pytest.approx(0.05, rel=0.1)
    assert found["amplitude"] == pytest.approx(0.15, rel=0.05)
    pixel_deg = math.degrees(math.atan(36 / 6000 / 12))
    # Two exposures of the kit's bracket, the longer lasting 0.025 s: less than half a swing.
    swing = 2 * 0.15 / pixel_deg * math.sin(math.pi * 6 * 0.025)
    assert found["settle_ms"] == pytest.approx(1000 * math.log(swing / SETTLED_PX) / (0.05 * 2 * math.pi * 6), rel=0.1)
    shown = shell("calibrate", "list", "kit.toml").out
    assert "settle" in shown
    assert "counts" in shown


def test_settle_without_a_lens_says_what_is_missing(shell: Shell) -> None:
    shell.write("s.csv", rings())
    told = shell(*SETTLE)
    assert told.status == 0
    assert "How long to wait was not worked out" in told.out


LINES = rings().splitlines()


@pytest.mark.parametrize(
    ("text", "status", "said"),
    [
        ("", 2, "s.csv: is empty"),
        ("time_ms,value\n", 2, "no readings"),
        ("time_ms,value\n0,1\n", 1, "only 1 reading"),
        ("time_ms,value\n0,left\n", 2, "s.csv line 2: value = left is not a number"),
        ("seconds,value\n0,1\n", 2, "no column time_ms"),
        ("\n".join([*LINES[:5], LINES[3], *LINES[5:]]), 2, "s.csv line 6: time_ms does not grow"),
        ("time_ms,value\n" + "".join(f"{t},3\n" for t in range(40)), 1, "all readings are the same"),
    ],
    ids=["empty", "no rows", "one row", "a word", "another column", "shuffled", "still"],
)
def test_settle_refuses_in_one_sentence(text: str, status: int, said: str, shell: Shell) -> None:
    shell.write("s.csv", text)
    (line,) = refuses(shell, status, *SETTLE, "--kit", "kit.toml")
    assert said in line


def test_settle_takes_one_source(shell: Shell) -> None:
    shell.write("r.csv", "time_ms,value\n0,1\n")
    both = ("calibrate", "settle", "--from", "r.csv", "--pictures", "r.csv")
    assert "not both" in refuses(shell, 2, *both)[-1]


@pytest.fixture
def ring(shell: Shell) -> Path:
    """Six small photographs of a wide lens: a ring."""
    kit = kit_of(12.0, camera={"mounted": "landscape"})
    shell.write("kit.toml", (shell.folder / "kit.toml").read_text() + "[head]\n")
    Stage(kit, 400).take(shell.folder / "ring", [(60.0 * number, 5.0) for number in range(6)])
    return shell.folder / "ring"


LENS = ("--focal-length-mm", "12", "--pixel-um", "90")
SIXTH = ("calibrate", "steps", "--axis", "pan", "--commanded-steps", "19200")


def test_a_small_ring(ring: Path, shell: Shell) -> None:
    found = answer(shell, *SIXTH, "--ring", "ring", *LENS)
    assert found["steps_per_degree"] == pytest.approx(320, rel=5e-4)
    assert found["focal_length_mm"] == pytest.approx(12, rel=2e-3)
    for name, true in (("steps_per_degree", 320), ("focal_length_mm", 12)):
        low, high = found["interval_95"][name]
        assert low < true < high
    # Without options about the lens, what the photographs themselves state is enough.
    assert answer(shell, *SIXTH, "--ring", "ring")["focal_length_mm"] == pytest.approx(12, rel=2e-3)


def test_a_ring_is_the_same_from_tiff_and_from_a_list(ring: Path, shell: Shell) -> None:
    for file in sorted(ring.iterdir()):
        with Image.open(file) as picture:
            picture.save(file.with_suffix(".tif"))
        file.unlink()
    shell.write("steps.csv", "commanded_steps\n" + "".join(f"{19200 * number}\n" for number in range(6)))
    words = ("calibrate", "steps", "--axis", "pan", "--ring", "ring", *LENS)
    by_list = answer(shell, *words, "--commanded-steps", "0,19200,38400,57600,76800,96000")
    assert by_list["steps_per_degree"] == pytest.approx(320, rel=5e-4)
    assert answer(shell, *words, "--commanded-steps", "steps.csv") == by_list


def said_of_ring(shell: Shell, status: int, *words: str) -> str:
    (line,) = refuses(shell, status, *SIXTH, "--ring", "ring", *LENS, "--kit", "kit.toml", *words)
    return line


def test_a_ring_with_a_gap_names_the_photographs(ring: Path, shell: Shell) -> None:
    Stage(kit_of(12.0, camera={"mounted": "landscape"}), 400).take(shell.folder / "up", [(60.0, 75.0)])
    (shell.folder / "up" / "FULL0000.JPG").replace(ring / "FULL0003.JPG")
    line = said_of_ring(shell, 2)
    assert "FULL0003.JPG: shows too little of what FULL0002.JPG shows" in line


def test_photographs_of_another_focal_length_or_size_are_named(ring: Path, shell: Shell) -> None:
    other = kit_of(14.0, camera={"mounted": "landscape"})
    Stage(other, 400).take(shell.folder / "other", [(60.0, 5.0)])
    before = (ring / "FULL0002.JPG").read_bytes()
    (shell.folder / "other" / "FULL0000.JPG").replace(ring / "FULL0002.JPG")
    assert "FULL0002.JPG: was shot at 14 mm, FULL0000.JPG at 12 mm" in said_of_ring(shell, 2)
    Stage(other, 300).take(shell.folder / "other", [(60.0, 5.0)])
    (shell.folder / "other" / "FULL0000.JPG").replace(ring / "FULL0002.JPG")
    assert "FULL0002.JPG: does not have the same size" in said_of_ring(shell, 2)
    (ring / "FULL0002.JPG").write_bytes(before[:2000])
    assert "FULL0002.JPG: is not a photograph that can be read: its pixels are damaged" in said_of_ring(shell, 2)
    (ring / "FULL0002.JPG").write_text("no picture", encoding="utf-8")
    assert "FULL0002.JPG: is not a photograph that can be read. Give a JPEG or TIFF" in said_of_ring(shell, 2)


def test_a_ring_that_cannot_be_believed_is_not_stored(ring: Path, shell: Shell) -> None:
    words = ("calibrate", "steps", "--axis", "pan", "--ring", "ring", *LENS, "--kit", "kit.toml", "--commanded-steps")
    assert "off the kit's gearing" in refuses(shell, 1, *words, "30000")[0]
    assert "reverse one of them" in refuses(shell, 1, *words, "-19200")[0]
    assert "gives 3 places for 6 photographs" in refuses(shell, 2, *words, "0,1,2")[0]
    assert "must always grow" in refuses(shell, 2, *words, "0,1,2,2,3,4")[0]
    assert "is not a number" in refuses(shell, 2, *words, "many")[0]
    uneven = "0,19200,38400,60000,76800,96000"  # the fourth is 2 degrees off
    assert "that nothing slips" in refuses(shell, 1, *words, uneven)[0]


def test_photographs_need_to_be_asked_for_rightly(ring: Path, shell: Shell) -> None:
    pair = ("--pair", "ring/FULL0000.JPG", "ring/FULL0001.JPG")
    assert "--ring or --pair" in refuses(shell, 2, *SIXTH)[-1]
    assert "not both" in refuses(shell, 2, *SIXTH, "--ring", "ring", *pair)[-1]
    assert "--commanded-steps" in refuses(shell, 2, *SIXTH[:4], *pair)[-1]
    assert "--ring needs --axis pan" in refuses(shell, 2, *SIXTH[:3], "tilt", *SIXTH[4:], "--ring", "ring")[-1]
    (shell.folder / "none").mkdir()
    assert "holds no photographs" in refuses(shell, 2, *SIXTH, "--ring", "none")[0]


def test_two_photographs_must_be_of_that_axis(ring: Path, shell: Shell) -> None:
    words = ("--pair", "ring/FULL0001.JPG", "ring/FULL0002.JPG", *LENS)
    found = answer(shell, *SIXTH, *words)
    low, high = found["interval_95"]["steps_per_degree"]
    assert low < 320 < high
    wrong = refuses(shell, 1, "calibrate", "steps", "--axis", "tilt", "--commanded-steps", "19200", *words)
    assert "not as the steps say" in wrong[0]


def test_without_the_library_one_sentence_says_so(ring: Path, shell: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "cv2", None)
    assert said_of_ring(shell, 2).endswith(line_to_add("pictures"))


def test_a_mark_that_is_not_there_is_refused(shell: Shell) -> None:
    stage = Stage(SMALL, 400, ahead_mm=10.0, board_mm=1000.0)
    stage.take(shell.folder / "pair", [(-15.0, 0.0), (15.0, 0.0)])
    words = (
        "--pictures",
        "pair/FULL0000.JPG",
        "pair/FULL0001.JPG",
        "--near-mm",
        "1000",
        "--far-at-least-mm",
        "50000",
        "--kit",
        "kit.toml",
    )
    lens = ("--focal-length-mm", "24", "--pixel-um", "90")
    (line,) = refuses(shell, 2, "calibrate", "parallax", *words, *lens, "--mark", "30", "133")
    assert "FULL0001.JPG: does not show again what FULL0000.JPG shows" in line
    (line,) = refuses(shell, 2, "calibrate", "parallax", *words, *lens, "--mark", "900", "133")
    assert "FULL0000.JPG: a mark of 24 px around 900 133" in line
    (line,) = refuses(
        shell, 1, "calibrate", "parallax", *words[:2], "pair/FULL0000.JPG", *words[3:], *lens, "--mark", "305", "133"
    )
    assert "was turned by 0.0° only" in line
