"""Build what the firmware tests need, or say in one sentence why that is impossible."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterable
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]
CORE = ROOT / "protocol" / "board" / "core"
NATIVE = Path(__file__).resolve().parent / "native"
WARNINGS = ("-std=gnu11", "-Wall", "-Wextra", "-Werror")


def lacking(programs: Iterable[str], packages: str) -> str | None:
    """What is missing and how to get it, as a sentence without its full stop; None if nothing is."""
    absent = next((program for program in programs if shutil.which(program) is None), None)
    return None if absent is None else f"{absent} not found: install {packages} to test the firmware"


def has_header(compiler: str, *flags: str, header: str) -> bool:
    """Whether a compiler finds a header."""
    command = [compiler, *flags, "-E", "-x", "c", "-"]
    done = subprocess.run(command, input=f"#include <{header}>\n", capture_output=True, text=True, check=False)
    return done.returncode == 0


def native_tools_lacking() -> str | None:
    return lacking(["cc"], "a C compiler")


def need(lack: str | None) -> None:
    """Skip the test, with the reason, if something is missing; fail it if CI is set in the environment."""
    if lack is not None and os.environ.get("CI"):
        pytest.fail(f"{lack}; on CI nothing is left out")
    if lack is not None:
        pytest.skip(lack)


def run(*command: str | Path) -> str:
    """Run a program and return its output. Raises AssertionError with its messages if it fails."""
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
