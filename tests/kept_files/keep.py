"""Keeps a folder of files as this version writes them: `python -m tests.kept_files.keep FOLDER`, before a release.

It is a folder as a photographer would have it, made by whole commands in virtual time, on an invented day: kits with
what lies beside them, plans of every shape, sessions (finished, stopped, killed), and the folders that other commands
wrote. `test_kept_files.py` opens all of it with the program of today.
"""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Sequence
from datetime import UTC, datetime
from itertools import cycle
from pathlib import Path
from tempfile import TemporaryDirectory
from unittest import mock

from controller import clock
from controller.cli.main import cli
from controller.commands.account import report_command
from controller.commands.rehearse import rehearse_command
from controller.kit.load import load_kit
from controller.page.devices import Device, Devices, digest_of_token, save_devices
from controller.planning.plan import Plan
from controller.planning.plan_file import load_plan
from controller.session.rows import RequestRow, Word
from controller.session.session import Session
from controller.setup.progress import Done, StepsDone, kit_mark, write_progress
from tests.controller.session.keep import BEGAN, Journey, Stroke, after, card_of, invented_day, journey

ROOT = Path(__file__).resolve().parents[2]
KIT = """\
[camera]
sensor_width_mm = 36.0
sensor_height_mm = 24.0
pixels_wide = 6000
pixels_high = 4000

[lens]
focal_length_mm = 14.0

[exposure]
bracket_ev = [0, 2]

[head]
ring_hz = 6.0
ring_damping = 0.05

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
min_deg = -95.0
max_deg = 95.0
"""
FISHEYE = KIT.replace("focal_length_mm = 14.0", 'focal_length_mm = 8.0\nprojection = "equidistant"')
NAMED = KIT.replace(
    "sensor_width_mm = 36.0\nsensor_height_mm = 24.0\n", 'make = "Nikon Corporation"\nmodel = "Nikon D750"\n'
)
KITS = {"kit": KIT, "fisheye": FISHEYE, "named": NAMED}
WINDOW = ("--region", "window", "--pitch-from", "-20", "--pitch-to", "20", "--yaw-from", "-60", "--yaw-to", "60")
PLANS: dict[str, Sequence[str]] = {
    "window": ("kit.toml", *WINDOW),
    "sphere": ("kit.toml",),
    "band": ("kit.toml", "--region", "band", "--pitch-from", "-20", "--pitch-to", "20"),
    "row": ("kit.toml", "--region", "single-row", "--row-pitch", "5"),
    "floor": ("kit.toml", "--floor", "-60", "--nadir-by-hand"),
    "free": ("fisheye.toml", "--arrangement", "fewest", "--effort", "5"),
    "fisheye": ("fisheye.toml", "--order", "rows"),
    "passes": ("kit.toml", *WINDOW, "--passes", "2", "--passes-within", "10"),
    "by_hand": ("kit.toml", "--nadir-by-hand"),
    "sun": (
        *("kit.toml", "--latitude", "47", "--longitude", "8", "--start", "2026-06-21T10:00:00Z", "--north-yaw", "0"),
        *("--sun", "last"),
    ),
    "named": ("named.toml", *WINDOW, "--overlap", "0.35"),
}
NOISE_DEG = (0.004, -0.006, 0.001, 0.005, -0.003, 0.002, -0.005)
SCENARIOS = ("gusty-day", "person-slow", "steps-lost")
HEAD_BYTES = 2000
ENDINGS = (
    *(("finished", "window"), ("stopped", "sphere"), ("killed", "window"), ("finished", "passes")),
    ("stopped", "by_hand"),
)
"""How each session ended, and its plan."""
TOKENS = ("an invented token", "another invented token")


def fullturn(*words: str) -> None:
    """Run a command of the program. Raises what it raises."""
    cli.main(list(words), prog_name="fullturn", standalone_mode=False)


def readings() -> str:
    """A table of readings for the play of an axis."""
    noise_deg = cycle(NOISE_DEG)
    lines = [
        f"{target},{direction},{target + shift_deg + next(noise_deg):.3f}"
        for _ in range(5)
        for target in (-60, -30, 0, 30, 60)
        for direction, shift_deg in (("up", 0.0), ("down", 0.08))
    ]
    return "\n".join(("target_deg,direction,measured_deg", *lines, ""))


def plans(folder: Path) -> None:
    """Kits, with records beside one, and plans of them."""
    for name, text in KITS.items():
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    (folder / "play.csv").write_text(readings(), encoding="utf-8")
    for axis in ("pan", "tilt"):
        readings_at = ("--from", str(folder / "play.csv"), "--kit", str(folder / "kit.toml"))
        fullturn("calibrate", "backlash", "--axis", axis, *readings_at, "--with", "an invented level")
    kit = load_kit(folder / "kit.toml")
    at = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
    seen = Done(at=at, kit=kit_mark(kit), found="0.2 degrees", seen=False)
    write_progress(folder / "kit.toml", StepsDone(done={"level": seen, "board": seen}))
    for name, (which, *options) in PLANS.items():
        fullturn("plan", str(folder / which), "--out", str(folder / f"{name}.json"), *options)


def stops_after(exposures: int) -> Stroke:
    """A stop that another terminal requests after so many exposures."""

    def look(world: Journey) -> bool:
        if world.exposed == exposures and world.sentence == "":
            with Session.open(world.session_path, to_write=True) as session:
                session.request(RequestRow(Word.STOP, ()))
        return False

    return look


def session(plan: Plan, kept: Path, how: str) -> None:
    """A session that ended like this: finished, stopped, killed."""
    with TemporaryDirectory() as name:
        world = journey(plan, Path(name))
        if how == "killed":
            world.until_killed(after(3), lambda: world.capture(tries=0))
        else:
            if how == "stopped":
                world.stroke = stops_after(3)
            assert world.capture(tries=0) is (how == "finished"), world.ends
        for written in Path(name).glob("session.sqlite*"):
            if how == "killed" or written.suffix == ".sqlite":
                shutil.copy(written, kept.with_name(written.name.replace("session.sqlite", kept.name)))


def sessions(folder: Path) -> None:
    """Sessions, the report of one, and its card matched and sorted."""
    for number, (how, plan) in enumerate(ENDINGS, 1):
        session(load_plan(folder / f"{plan}.json"), folder / f"2026-03-01-ledge-{number}.sqlite", how)
    finished = folder / "2026-03-01-ledge-1.sqlite"
    report_command(finished, folder / "2026-03-01-ledge-1-report")
    rows = json.loads((folder / "2026-03-01-ledge-1-report" / "exposures.json").read_text(encoding="utf-8"))
    with TemporaryDirectory() as card:
        card_of(rows, Path(card))
        fullturn(
            "match",
            str(finished),
            card,
            "--out",
            str(folder / "2026-03-01-ledge-1-card"),
            "--sort",
            "frame",
            "--copy",
            "--xmp",
        )


def folders(folder: Path) -> None:
    """A rehearsal with its card, inspected; and the page's list of devices."""
    rehearse_command(folder / "window.json", folder / "rehearsal", seed=3, progress=lambda _: lambda: None)
    with TemporaryDirectory() as name:
        run, card = Path(name, "run"), Path(name, "card")
        fullturn("rehearse", str(folder / "window.json"), "--out", str(run), "--pictures", str(card), "--scale", "0.12")
        fullturn("inspect", str(run / "session.sqlite"), str(card), "--out", str(folder / "inspection"))
    devices = [
        Device(number=n, name="Phone", token_sha256=digest_of_token(token), may_control=n == 1, last_seen=BEGAN)
        for n, token in enumerate(TOKENS, 1)
    ]
    for name in SCENARIOS:
        shutil.copy(ROOT / "sim" / "scenarios" / f"{name}.toml", folder / f"scenario-{name}.toml")
    save_devices(Devices(holder=1, devices=tuple(devices)), folder / ".fullturn-page.json")


def shorten(folder: Path) -> None:
    """Cut pages and pictures of spheres, of which only the beginning is read, and paths of this computer."""
    for path in (*folder.rglob("*.html"), *folder.rglob("sphere.jpg")):
        path.write_bytes(path.read_bytes()[:HEAD_BYTES])
    for path in folder.rglob("match.json"):
        content = json.loads(path.read_text(encoding="utf-8")) | {
            "session": "2026-03-01-ledge-1.sqlite",
            "folder": "card",
        }
        path.write_text(json.dumps(content, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def keep(folder: Path) -> None:
    """Write everything into `folder`."""
    folder.mkdir(parents=True)
    with mock.patch.object(clock, "wall_time", invented_day):
        plans(folder)
        sessions(folder)
        folders(folder)
        shorten(folder)


if __name__ == "__main__":
    keep(Path(sys.argv[1]))
