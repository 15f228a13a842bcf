"""The files to damage: each kind that the program reads, and the commands that read it."""

from __future__ import annotations

import json
import os
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from random import Random

from tests.mutated import databases, exif, spoiling
from tests.mutated.judging import OUT


@dataclass(frozen=True, slots=True)
class Subject:
    """A file of the corpus, how to damage it, and the commands that read it."""

    file: str
    spoil: Callable[[Path, Random], None]
    commands: tuple[tuple[str, ...], ...]
    judged: bool = False
    """Read correctly, but too small for its purpose: even the undamaged one is refused, with a sentence that says so."""


def _by_bytes(path: Path, chance: Random) -> None:
    path.write_bytes(chance.choice(spoiling.BYTES)(path.read_bytes(), chance))


def _toml(path: Path, chance: Random) -> None:
    if chance.random() < 0.2:
        _by_bytes(path, chance)
        return
    text = spoiling.as_toml(spoiling.spoilt_tree(tomllib.loads(path.read_text()), chance))
    path.write_bytes(text.encode("utf-8", "surrogatepass"))


def _json(path: Path, chance: Random) -> None:
    if chance.random() < 0.2:
        _by_bytes(path, chance)
        return
    spoilt = spoiling.spoilt_tree(json.loads(path.read_text()), chance)
    path.write_text(json.dumps(spoilt))


def _csv(path: Path, chance: Random) -> None:
    if chance.random() < 0.2:
        _by_bytes(path, chance)
        return
    path.write_bytes(spoiling.spoilt_csv(path.read_text(), chance).encode("utf-8", "surrogatepass"))


def _session(path: Path, chance: Random) -> None:
    if chance.random() < 0.2:
        _by_bytes(path, chance)
    else:
        chance.choice((databases.spoil_tables, databases.spoil_pages))(path, chance)


def _card(folder: Path, chance: Random) -> None:
    """One picture damaged; or another name, or something that is no file."""
    path = chance.choice(sorted(folder.iterdir()))
    how = chance.randrange(12)
    if how >= len(NO_FILES) + 1:
        _picture(path, chance)
    elif how == len(NO_FILES):
        path.rename(os.fsdecode(os.fsencode(folder) + b"/" + chance.choice(NAMES)))
    else:
        path.unlink()
        NO_FILES[how](path)


def _picture(path: Path, chance: Random) -> None:
    if chance.random() < 0.2:
        _by_bytes(path, chance)
    else:
        path.write_bytes(exif.spoilt_picture(path.read_bytes(), chance))


NAMES = (b"x" * 240 + b".JPG", "é\n.JPG".encode(), b"FT.JPG", b"=1.JPG", b"-x.JPG", b"\xff\xfe.JPG", b"\x1b[31m.JPG")
NO_FILES: tuple[Callable[[Path], None], ...] = (
    lambda path: path.symlink_to(path.parent / "gone"),
    lambda path: path.symlink_to(path),
    lambda path: path.mkdir(),
    os.mkfifo,
)


LENS = ("--focal-length-mm", "10", "--pixel-um", "6")
RING = ("--axis", "pan", "--ring", "ring", "--commanded-steps", "ring.csv", *LENS)
STEPS = ("--commanded-steps", "19200")
MARK = ("--mark", "30", "100", "--near-mm", "900", "--far-mm", "50000")
ALSO = {"match": {1}, "inspect": {1}, "calibrate": {1}}
"""Exit statuses other than 0 with which a command has done its work."""
SUBJECTS: tuple[Subject, ...] = (
    Subject(
        "kit.toml",
        _toml,
        (
            ("plan", "kit.toml", "--out", OUT),
            ("kit", "check", "kit.toml"),
            ("plan", "kit.toml", "--out", OUT, "--region", "single-row"),
        ),
    ),
    Subject("plan.json", _json, (("rehearse", "plan.json", "--out", OUT),)),
    Subject(
        "session.sqlite",
        _session,
        (
            ("report", "session.sqlite", "--out", OUT),
            ("match", "session.sqlite", "card"),
        ),
    ),
    Subject(
        "capture.sqlite", _session, (("tell", "capture.sqlite", "retake", "1"), ("report", "capture.sqlite", "--json"))
    ),
    Subject("faults.toml", _toml, (("rehearse", "plan.json", "--out", OUT, "--faults", "faults.toml"),)),
    Subject(
        "kit.calibration.json",
        _json,
        (
            ("calibrate", "list", "kit.toml"),
            ("kit", "check", "kit.toml"),
            ("plan", "kit.toml", "--out", OUT, "--region", "single-row"),
        ),
    ),
    Subject("level.csv", _csv, (("calibrate", "level", "--from", "level.csv"),)),
    Subject("steps.csv", _csv, (("calibrate", "steps", "--axis", "pan", "--from", "steps.csv"),)),
    Subject("backlash.csv", _csv, (("calibrate", "backlash", "--axis", "pan", "--from", "backlash.csv"),)),
    Subject("verify.csv", _csv, (("calibrate", "verify", "--from", "verify.csv", "--needed-deg", "0.2"),)),
    Subject("settle.csv", _csv, (("calibrate", "settle", "--from", "settle.csv"),)),
    Subject("moves.csv", _csv, (("calibrate", "settle", "--from", "moves.csv", "--degrees-per-unit", "1"),)),
    Subject("loads.toml", _toml, (("kit", "loads", "kit.toml", "--from", "loads.toml"),)),
    Subject("ring.csv", _csv, (("calibrate", "steps", *RING),), judged=True),
    Subject("ring", _card, (("calibrate", "steps", *RING), ("calibrate", "settle", "--pictures", "ring")), judged=True),
    Subject(
        "card",
        _card,
        (
            ("match", "session.sqlite", "card", "--out", OUT),
            ("match", "session.sqlite", "card", "--out", OUT, "--sort", "row", "--xmp"),
            ("match", "session.sqlite", "card", "--pictures"),
            ("inspect", "session.sqlite", "card", "--out", OUT, "--xmp"),
        ),
    ),
    Subject("own.jpg", _picture, (("kit", "from-picture", "own.jpg", "--out", OUT),)),
    Subject(
        "card/FULL0003.JPG",
        _picture,
        (
            ("calibrate", "steps", "--axis", "pan", "--pair", "card/FULL0003.JPG", "card/FULL0005.JPG", *STEPS, *LENS),
            ("calibrate", "parallax", "--pictures", "card/FULL0003.JPG", "card/FULL0005.JPG", *MARK, *LENS),
        ),
        judged=True,
    ),
    Subject(
        "scenery.jpg",
        _picture,
        (
            (
                "rehearse",
                "plan.json",
                "--out",
                OUT,
                "--pictures",
                f"{OUT}/seen",
                "--scale",
                "0.01",
                "--scenery",
                "scenery.jpg",
            ),
        ),
    ),
)
