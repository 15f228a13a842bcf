"""Building what the tests of the firmware need, and saying in one sentence why it cannot be built."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterable
from pathlib import Path
from typing import NoReturn

import pytest

ROOT = Path(__file__).resolve().parents[3]
CORE = ROOT / "protocol" / "board" / "core"
NATIVE = Path(__file__).resolve().parent / "native"
WARNINGS = ("-std=gnu11", "-Wall", "-Wextra", "-Werror")


def give_up(reason: str) -> NoReturn:
    """Skip the test; where the environment says CI=true, fail it."""
    if os.environ.get("CI") == "true":
        pytest.fail(f"{reason}, and on CI nothing may be left out")
    pytest.skip(reason)


def need(*programs: str) -> None:
    for program in programs:
        if shutil.which(program) is None:
            give_up(f"{program} is not installed")


def run(*command: str | Path) -> str:
    """Run a program and return what it printed. Raises AssertionError with its complaints when it fails."""
    done = subprocess.run([str(part) for part in command], capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{command}\n{done.stdout}{done.stderr}"
    return done.stdout


def core_sources() -> list[Path]:
    return sorted(CORE.glob("*.c"))


def build_native(out: Path, sources: Iterable[str], *flags: str) -> Path:
    """Build the core with the given files of the native folder for this machine."""
    own = [NATIVE / name for name in sources]
    run("cc", *WARNINGS, *flags, f"-I{CORE}", f"-I{NATIVE}", *core_sources(), *own, "-o", out, "-lm")
    return out


def build_library(folder: Path) -> Path:
    return build_native(folder / "core.so", ["world.c"], "-O2", "-shared", "-fPIC")


def has(program: str) -> bool:
    return shutil.which(program) is not None
