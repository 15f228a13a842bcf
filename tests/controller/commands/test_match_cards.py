"""`fullturn match` and a card with anything on it: each entry gets a line, and the rest is paired."""

from __future__ import annotations

import csv
import errno
import json
import os
import socket
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from random import Random

import pytest
from PIL import Image
from PIL.ExifTags import IFD, Base

from tests.controller.commands.shell import Shell
from tests.controller.commands.shot_card import EXPOSURES, shot

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="its files are those of this system")


def dated(path: Path, date: str, offset: str = "") -> None:
    exif = Image.Exif()
    exif[Base.Make], exif[Base.Model] = "Anvil", "One"
    exif.get_ifd(IFD.Exif).update({Base.DateTimeOriginal: date, Base.OffsetTimeOriginal: offset})
    Image.new("L", (48, 32)).save(path, exif=exif)


def bound(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as one:
        os.chdir(path.parent)
        one.bind("s")  # its full name may be too long for a socket
        Path("s").rename(path.name)


SORTS: dict[str, Callable[[Path], object]] = {
    "is a pipe, not a photograph": os.mkfifo,
    "is a link to a file that does not exist": lambda path: path.symlink_to("gone"),
    "is a link that leads back to itself": lambda path: path.symlink_to(path.name),
    "is a folder, not a photograph": lambda path: path.symlink_to("/"),
    "is a device, not a photograph": lambda path: path.symlink_to("/dev/null"),
    "is a socket, not a photograph": bound,
    "the disk or card reports an error": lambda path: path.symlink_to("/proc/self/mem"),
    "is cut short": lambda path: path.write_bytes(b""),
    "does not say when it was taken": lambda path: path.write_bytes(b"\xff\xd8" + b"x" * 500 + b"\xff\xd9"),
    'says that it was taken at "9999': lambda path: dated(path, "9999:12:31 23:59:59"),
    'says that it was taken at "0001': lambda path: dated(path, "0001:01:01 00:00:00"),
    'says that it was taken at "2026': lambda path: dated(path, "2026:13:01 00:00:00"),
    "": lambda path: shot(path, 3, model="x" * 60_000),
}
NAMES = (b"FULL0007.JPG", b"\xff\xfe.JPG", b"=1+1.JPG", b"a\nb.JPG", b"-x.jpeg", b"n" * 240 + b".JPG", "é.jpg".encode())


@pytest.mark.parametrize("seed", range(12))
def test_anything_on_a_card_is_a_line_and_nothing_stops_the_rest(seed: int, ready: Shell) -> None:
    chance = Random(seed)
    folder = ready.folder / "card" / "100ANVIL"
    sorts = chance.sample(sorted(SORTS), 5) if seed else sorted(SORTS)
    wrong: dict[str, str] = {}
    for number, sort in enumerate(sorts * 2):  # two of each, of equal size
        name = b"%d-" % number + chance.choice(NAMES) if seed else b"%d.JPG" % number
        SORTS[sort](folder / os.fsdecode(name))
        wrong[f"100ANVIL/{name.decode('utf-8', 'backslashreplace')}"] = sort
    os.chdir(ready.folder)
    told = ready("match", "s.sqlite", "card", "--json")
    assert (told.status, told.err) == (0, "")
    found = json.loads(told.out)
    notes = {line["file"]: " ".join(line["notes"]) for line in found["lines"]}
    assert sum(line["verdict"] == "sure" and line["frame"] is not None for line in found["lines"]) == len(EXPOSURES)
    for file, sort in wrong.items():
        assert sort in notes[file] or "is a copy of" in notes[file], file
    ready("match", "s.sqlite", "card").out.encode()
    assert ready("match", "s.sqlite", "card", "--out", "home").status == 0
    rows = list(csv.DictReader((ready.folder / "home/match.csv").read_text(encoding="utf-8").splitlines(keepends=True)))
    assert len(rows) == len(found["lines"])


def test_every_photograph_bears_a_name_that_is_no_text(ready: Shell) -> None:
    folder = ready.folder / "card" / "100ANVIL"
    for number, path in enumerate(sorted(folder.iterdir())):
        path.rename(folder / os.fsdecode(b"\xe9%04d" % (number + 1) + b"y" * (200 * (number % 2)) + b".JPG"))
    before = {path: path.read_bytes() for path in folder.iterdir()}
    assert ready("match", "s.sqlite", "card", "--out", "home", "--copy", "--sort", "row", "--xmp").status == 0
    copied = list((ready.folder / "home/pictures").rglob("*.JPG"))
    assert sorted(path.read_bytes() for path in copied) == sorted(before.values())
    assert before == {path: path.read_bytes() for path in folder.iterdir()}
    assert ready("tell", "s.sqlite", "retake", "home/match.json").status in {0, 2}


def test_a_folder_that_cannot_be_looked_into_is_named(ready: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    (ready.folder / "card" / "101ANVIL").mkdir()

    def shut(real: Callable[[str], object], path: str) -> object:
        if str(path).endswith("101ANVIL"):
            raise PermissionError(errno.EACCES, "", str(path))
        return real(path)

    for name in ("scandir", "listdir"):
        monkeypatch.setattr(os, name, partial(shut, getattr(os, name)))
    found = json.loads(ready("match", "s.sqlite", "card", "--json").out)
    assert {line["file"]: line["notes"] for line in found["lines"]}["101ANVIL"] == ["you have no permission to read it"]
