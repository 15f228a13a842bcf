"""Calibration from photographs of the simulated scene, through the command line, compared with the truth."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.controller.calibration.staged import Stage
from tests.controller.commands.shell import Shell
from tests.end_to_end.whole_runs import kit_of

pytestmark = pytest.mark.long
STEPS_PER_DEGREE = 320.0

KIT = """
[camera]
sensor_width_mm = 36.0
sensor_height_mm = 24.0
pixels_wide = 6000
pixels_high = 4000
mounted = "landscape"
[lens]
focal_length_mm = 24.0
"""
LANDSCAPE: dict[str, Any] = {"mounted": "landscape"}


@pytest.fixture
def shell(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Shell:
    shell = Shell(tmp_path, capsys, monkeypatch)
    shell.write("kit.toml", KIT)
    return shell


def result(shell: Shell, *words: str) -> dict[str, Any]:
    told = shell("calibrate", *words, "--json")
    assert told.status == 0, told
    found: dict[str, Any] = json.loads(told.out)
    return found


def test_a_ring_of_24_photographs(shell: Shell) -> None:
    """The gear is 0.3 % and the lens 1.5 % off the kit's figures, and no stop is exact."""
    stage = Stage(kit_of(24.36, camera=LANDSCAPE), 1000, says_kit=kit_of(24.0, camera=LANDSCAPE))
    true = STEPS_PER_DEGREE * 1.003
    steps = np.round(np.arange(24) * 15 * STEPS_PER_DEGREE)
    yaw = 31.0 + steps / true + np.random.default_rng(3).normal(0, 0.004, 24)
    stage.take(shell.folder / "ring", [(float(each), 3.0) for each in yaw])
    found = result(
        shell,
        "steps",
        "--axis",
        "pan",
        "--ring",
        "ring",
        "--commanded-steps",
        "4800",
        "--u-pupil-mm",  # the lens of the stage is on the axis
        "0",
        "--kit",
        "kit.toml",
        "--page",
        "p.html",
    )
    assert found["steps_per_degree"] == pytest.approx(true, rel=2e-4)
    assert found["focal_length_mm"] == pytest.approx(24.36, rel=1e-3)
    for name, value in (("steps_per_degree", true), ("focal_length_mm", 24.36)):
        low, high = found["interval_95"][name]
        assert low < value < high
        assert high - low < 1e-3 * value
    assert found["missed_deg"] == pytest.approx(0.004, abs=0.002)
    assert (shell.folder / "p.html").read_text(encoding="utf-8").count("<figure") == 2
    listed = json.loads(shell("calibrate", "list", "kit.toml", "--json").out)
    assert [(each["kind"], each["axis"], each["standing"]) for each in listed] == [("steps", "pan", "counts")]

    # Two of the same photographs, with the lens from the ring, agree within their uncertainties.
    first, second = "ring/FULL0004.JPG", "ring/FULL0006.JPG"
    words = (
        "--commanded-steps",
        "9600",
        "--focal-length-mm",
        "24.36",
        "--u-focal-length-mm",
        "0.005",
        "--u-pupil-mm",
        "0",
        "--kit",
        "kit.toml",
    )
    pair = result(shell, "steps", "--axis", "pan", "--pair", first, second, *words, "--dry")
    low, high = pair["interval_95"]["steps_per_degree"]
    assert low < true < high
    assert high - low < 0.004 * true


def test_two_photographs_of_the_tilt_axis(shell: Shell) -> None:
    Stage(kit_of(24.0, camera=LANDSCAPE), 1000).take(shell.folder / "tilt", [(20.0, -5.0), (20.0, 7.0)])
    words = ("--commanded-steps", "3840", "--kit", "kit.toml", "--u-focal-length-mm", "0.02")
    found = result(shell, "steps", "--axis", "tilt", "--pair", "tilt/FULL0000.JPG", "tilt/FULL0001.JPG", *words)
    assert found["angle_deg"] == pytest.approx(12.0, abs=0.02)  # the lens is found together with it
    low, high = found["interval_95"]["steps_per_degree"]
    assert low < STEPS_PER_DEGREE < high


@pytest.mark.parametrize("ahead_mm", [-20.0, 1.0, 12.0])
def test_parallax_from_two_photographs(ahead_mm: float, shell: Shell) -> None:
    """24 mm on 36x24, a mark at 1 m: within 0.3 mm, and always in the right direction."""
    stage = Stage(kit_of(24.0, camera=LANDSCAPE), 1000, ahead_mm=ahead_mm, board_mm=1000.0)
    stage.take(shell.folder / "pair", [(-25.0, 0.0), (25.0, 0.0)])
    column, row = stage.board_px(-25.0)
    where = ("--mark", str(column * 1.0), str(row * 1.0), "--mark-px", "70")
    words = (
        "--pictures",
        "pair/FULL0000.JPG",
        "pair/FULL0001.JPG",
        "--near-mm",
        "1000",
        "--far-at-least-mm",
        "1e6",
        "--kit",
        "kit.toml",
        *where,
    )
    found = result(shell, "parallax", *words, "--rail-mm", "100")
    assert found["offset_mm"] == pytest.approx(ahead_mm, abs=0.3)
    assert found["slide"] == ("back" if ahead_mm > 0 else "forward")
    low, high = found["interval_95"]["offset_mm"]
    assert low < ahead_mm < high
    assert high - low < max(1.5, abs(ahead_mm) / 5)
    assert found["rail_mm"] == pytest.approx(100 - ahead_mm, abs=0.3)
    rail = json.loads(shell("calibrate", "rail", "kit.toml", "--json").out)
    assert rail["rail_mm"] == found["rail_mm"]
    assert not rail["warning"]


def test_a_burst_shows_how_the_head_rings(shell: Shell) -> None:
    hz, damping, amplitude = 2.3, 0.04, 0.6
    time = np.arange(40) * 0.05
    w = 2 * math.pi * hz
    yaw = 40 + amplitude * np.exp(-damping * w * time) * np.cos(w * math.sqrt(1 - damping**2) * time)
    stage = Stage(kit_of(24.0, camera=LANDSCAPE), 500)
    stage.take(shell.folder / "burst", [(float(each), 0.0) for each in yaw], every_s=0.05)
    found = result(shell, "settle", "--pictures", "burst", "--kit", "kit.toml", "--page", "settle.html")
    for name, true in (("ring_hz", hz), ("ring_damping", damping), ("amplitude", amplitude)):
        low, high = found["interval_if_single"][name]
        assert low < true < high
        assert high - low < 0.05 * true
        least, most = found["interval_95"][name]  # of the larger of two that look like one
        assert least < low
        assert high < most
    assert (shell.folder / "settle.html").exists()
