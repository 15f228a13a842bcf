"""CREDITS.md names everything of others that is shipped, and its licence is beside it."""

from __future__ import annotations

import re
import subprocess
import tomllib
from fnmatch import fnmatch
from pathlib import Path

import pytest

from controller.guide.site import PARTS_FROM, add_licences
from tests.repo.test_layers import ROOT

CREDITS = (ROOT / "CREDITS.md").read_text(encoding="utf-8")
ROWS = re.findall(r"^\| .*? \| `(.+?)` \| (MIT|BSD .*?) \| (.+?) \|$", CREDITS, re.MULTILINE)
IN_PROGRAM = [pattern for files, _, text in ROWS if text.startswith("[") for pattern in files.split()]
IN_SITE = {text.strip("`").removesuffix(".txt"): files.split() for files, _, text in ROWS if not text.startswith("[")}
FONTS = (".woff", ".woff2", ".ttf", ".otf", ".eot")
OWN = ("site.css", "licences/*")


def uncredited(names: list[str], patterns: list[str]) -> list[str]:
    """The files that no pattern fits."""
    return [name for name in names if not any(fnmatch(name, pattern) for pattern in patterns)]


def shipped() -> list[str]:
    """The files of the project's packages, as the repository has them, or as they are if there is none."""
    done = subprocess.run(["git", "ls-files", "controller", "protocol", "sim", "docs", "hardware_notes"],
                          cwd=ROOT, capture_output=True, text=True, check=False)  # fmt: skip
    tree = [path.relative_to(ROOT).as_posix() for path in (ROOT / "controller").rglob("*") if path.is_file()]
    return done.stdout.splitlines() or tree


def test_folders_with_a_licence_of_their_own_are_credited() -> None:
    folders = {Path(name).parent.as_posix() for name in shipped() if Path(name).name.startswith(("LICENSE", "COPYING"))}
    assert folders == {Path(pattern).parent.as_posix() for pattern in IN_PROGRAM}


def test_no_font_and_no_packed_script_is_shipped_without_credit() -> None:
    foreign = [name for name in shipped() if name.endswith(FONTS) or ".min." in name]
    assert foreign
    assert uncredited(foreign, IN_PROGRAM) == []


def test_each_part_of_the_site_has_its_licence(tmp_path: Path) -> None:
    add_licences(tmp_path / "licences")
    assert set(IN_SITE) == set(PARTS_FROM)
    for name in IN_SITE:
        assert "copyright" in (tmp_path / "licences" / f"{name}.txt").read_text(encoding="utf-8").casefold()


@pytest.mark.parametrize("name", ["fonts/a.woff2", "other.js"])
def test_a_file_of_others_would_be_noticed(name: str) -> None:
    assert uncredited([name], [*OWN, *(each for patterns in IN_SITE.values() for each in patterns)]) == [name]


def test_the_wheel_has_every_file_of_the_board() -> None:
    stated = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]["package-data"]
    endings = {Path(pattern).name for pattern in stated["protocol"] if pattern.startswith("board/")}
    files = [name for name in shipped() if name.startswith("protocol/board/") and not name.endswith(".py")]
    assert [name for name in files if not any(fnmatch(Path(name).name, ending) for ending in endings)] == []
