"""A folder with one valid file of every kind that the program reads."""

from __future__ import annotations

import csv
import shutil
import sqlite3
import sys
from contextlib import closing
from pathlib import Path
from unittest.mock import patch

import numpy as np
from markupsafe import Markup
from PIL import Image
from PIL.ExifTags import IFD, Base

from controller.cli.main import main

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
LOADS = """mass_kg = 3.2
length_mm = 220.0
height_mm = 160.0
tilt_offset_mm = 20.0
pan_offset_mm = 15.0
torque = [[0, 0.6], [600, 0.3]]
rotor_g_cm2 = 68.0
gear_efficiency = 0.7
total_kg = 9.0
feet_radius_mm = 420.0
wind_height_mm = 1500.0
area_m2 = 0.08
wind_m_s = 8.0
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
    """Write the valid files into `folder`, which must be the current one."""
    (folder / "kit.toml").write_text(KIT)
    plan = ("plan", "kit.toml", "--region", "single-row")
    assert run(*plan, "--out", "plan.json", "--overlap", "0.2") == 0
    assert run(*plan, "--out", "ring.json", "--overlap", "0.6") == 0
    with patch("controller.report.drawing.svg", lambda *_: Markup()):  # no command reads the figures of a report
        assert run("rehearse", "plan.json", "--out", "run", "--pictures", "card", "--scale", "0.06") == 0
        assert run("rehearse", "ring.json", "--out", "ring", "--pictures", "shots", "--scale", "0.05") == 0
    shutil.rmtree("ring")
    shutil.copy(folder / "run" / "session.sqlite", folder / "session.sqlite")
    shutil.copy(folder / "session.sqlite", folder / "capture.sqlite")
    with closing(sqlite3.connect(folder / "capture.sqlite")) as db, db:
        db.execute("UPDATE about SET value = 'capture' WHERE name = 'kind'")
    (folder / "faults.toml").write_text(SCENARIO)
    (folder / "loads.toml").write_text(LOADS)
    _readings(folder)
    _card(folder / "card")
    _ring(folder)
    _own_picture(folder / "own.jpg")
    Image.new("RGB", (200, 100), (40, 90, 120)).save(folder / "scenery.jpg")
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
    visits = [(yaw, pitch) for _ in range(5) for yaw in (0.0, 90.0, 200.0) for pitch in (-30.0, 20.0)]
    tables["verify.csv"] = [("target_yaw_deg", "target_pitch_deg", "yaw_deg", "pitch_deg")]
    tables["verify.csv"] += [
        (f"{yaw:g}", f"{pitch:g}", f"{yaw + chance.normal(0, 0.02):.3f}", f"{pitch + chance.normal(0, 0.02):.3f}")
        for yaw, pitch in visits
    ]
    times = np.arange(0, 1500, 10.0)
    ringing = 0.4 * np.exp(-times / 200) * np.cos(times / 20) + chance.normal(0, 0.003, len(times))
    tables["settle.csv"] = [("time_ms", "value")]
    tables["settle.csv"] += [(f"{at:g}", f"{value:.4f}") for at, value in zip(times, ringing, strict=True)]
    tables["moves.csv"] = [("time_ms", "value", "axis", "shaped", "pitch_deg")]
    for shaped, size in (("no", 1.0), ("0:18000 60:31000 120:16536", 0.05)):
        values = size * ringing + chance.normal(0, 0.003, len(times))
        readings = zip(times, values, strict=True)
        tables["moves.csv"] += [(f"{at:g}", f"{value:.4f}", "pan", shaped, "0") for at, value in readings]
    for name, rows in tables.items():
        with (folder / name).open("w", newline="") as file:
            csv.writer(file, lineterminator="\n").writerows(rows)


def _card(card: Path) -> None:
    """Pictures of real cameras beside those of the run, one without a camera, and one as TIFF."""
    for source in sorted(PICTURES.glob("r_*.jpg")):
        shutil.copy(source, card / source.name.upper())
    Image.new("RGB", (40, 30)).save(card / "PLAIN.JPG")
    with Image.open(card / "FULL0001.JPG") as picture:
        picture.save(card / "RAW.TIF", exif=picture.getexif())


def _ring(folder: Path) -> None:
    """One photograph of each frame, once round, and the positions of the axis."""
    shots = sorted((folder / "shots").iterdir())[::2]
    (folder / "ring").mkdir()
    for shot in shots:
        shutil.copy(shot, folder / "ring")
    with (folder / "ring.csv").open("w", newline="") as file:
        at = [str(round(115_200 / len(shots) * number)) for number in range(len(shots))]
        csv.writer(file, lineterminator="\n").writerows([["commanded_steps"], *([steps] for steps in at)])
    shutil.rmtree(folder / "shots")
    (folder / "ring.json").unlink()


def _own_picture(path: Path) -> None:
    """A picture exactly as from its camera: its EXIF gives the true size."""
    exif = Image.Exif()
    exif[Base.Make], exif[Base.Model] = "Fullturn", "Sample One"
    exif[IFD.Exif] = {
        Base.FocalLength: 24.0, Base.FocalLengthIn35mmFilm: 36, Base.ExposureTime: 0.0125, Base.FNumber: 8.0,
        Base.ExifImageWidth: 1500, Base.ExifImageHeight: 1000, Base.LensModel: "Sample 24 mm",
        Base.DateTimeOriginal: "2026:05:01 12:00:00", Base.OffsetTimeOriginal: "+02:00",
    }  # fmt: skip
    Image.new("RGB", (1500, 1000), (90, 120, 150)).save(path, exif=exif)
