"""A folder with one sound file of every kind that the program reads."""

from __future__ import annotations

import csv
import shutil
import sys
from pathlib import Path

import numpy as np
from PIL import Image

from controller.cli import main

KIT = """
[camera]
sensor_width_mm = 36.0
sensor_height_mm = 24.0
pixels_wide = 6000
pixels_high = 4000
mounted = "portrait"
[lens]
focal_length_mm = 10.0
projection = "rectilinear"
[exposure]
shutter_seconds = 0.0125
bracket_ev = [-1, 1]
file_megabytes = 30.0
[head]
ring_hz = 8.0
ring_damping = 0.05
settle_ms = 300.0
level_error_deg = 0.1
lean_deg = 0.0
lean_toward_deg = 0.0
[head.pan]
full_steps_per_turn = 200
microsteps = 16
gear_ratio = 36.0
max_speed_deg_s = 30.0
max_accel_deg_s2 = 40.0
min_deg = -370.0
max_deg = 370.0
[head.tilt]
full_steps_per_turn = 200
microsteps = 16
gear_ratio = 60.0
max_speed_deg_s = 20.0
max_accel_deg_s2 = 30.0
[power]
head_watts = 18.0
camera_watts = 4.0
battery_watt_hours = 90.0
[board]
baud = 115200
max_step_rate_hz = 20000
silence_ms = 3000
"""
SCENARIO = """about = "Two things go wrong."
[[fault]]
kind = "steps-lost"
axis = "pan"
steps = 40
at_frame = 2
[[fault]]
kind = "stall"
axis = "tilt"
at_s = 9.0
"""
PICTURES = Path(__file__).parents[1] / "pictures"


def run(*words: str) -> int:
    """The exit status of `fullturn` with these words."""

    sys.argv = ["fullturn", *words]
    try:
        main()
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else 0
    return 0


def make_corpus(folder: Path) -> None:
    """Write the sound files into `folder`, which must be the current one."""
    (folder / "kit.toml").write_text(KIT)
    plan = ("plan", "kit.toml", "--out", "plan.json", "--region", "single-row", "--overlap", "0.2")
    assert run(*plan) == 0
    assert run("rehearse", "plan.json", "--out", "run") == 0
    shutil.copy(folder / "run" / "session.sqlite", folder / "session.sqlite")
    (folder / "faults.toml").write_text(SCENARIO)
    _readings(folder)
    _card(folder / "card")
    assert run("calibrate", "level", "--from", "level.csv", "--kit", "kit.toml") == 0


def _readings(folder: Path) -> None:
    chance = np.random.default_rng(1)
    yaws = np.arange(0, 360, 45.0)
    lean = [f"{0.4 * np.cos(np.radians(yaw)) + chance.normal(0, 0.02):.3f}" for yaw in yaws]
    turned = np.arange(0, 361, 30.0)
    approached = [(at, way) for at in (10.0, 80.0, 150.0) for way in ("up", "down") * 3]
    tables: dict[str, list[tuple[str, ...]]] = {
        "level.csv": [("yaw_deg", "reading_deg")],
        "steps.csv": [("commanded_steps", "angle_deg")],
        "backlash.csv": [("target_deg", "direction", "measured_deg")],
    }
    tables["level.csv"] += [(f"{yaw:g}", read) for yaw, read in zip(yaws, lean, strict=True)]
    tables["steps.csv"] += [(f"{320 * yaw:.0f}", f"{yaw + chance.normal(0, 0.02):.3f}") for yaw in turned]
    tables["backlash.csv"] += [
        (f"{at:g}", way, f"{at + (0.03 if way == 'up' else -0.03) + chance.normal(0, 0.004):.4f}")
        for at, way in approached
    ]
    for name, rows in tables.items():
        with (folder / name).open("w", newline="") as file:
            csv.writer(file, lineterminator="\n").writerows(rows)


def _card(card: Path) -> None:
    """A few pictures with EXIF of real cameras, and small ones of no camera's."""
    card.mkdir()
    for number, source in enumerate(sorted(PICTURES.glob("r_*.jpg")), 1):
        shutil.copy(source, card / f"FULL{number:04}.JPG")
    Image.new("RGB", (40, 30)).save(card / "plain.jpg")
