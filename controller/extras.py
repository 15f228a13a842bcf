"""The optional parts of the program (extras): what each is for, and the command that adds it to this installation.

The core plans, proves, captures and resumes without any of them, so that it also runs where a library of theirs cannot
be installed.
"""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

from controller.errors import InputError
from controller.system.chosen import WINDOWS

ROOT = Path(__file__).resolve().parents[1]


@dataclass(frozen=True, slots=True)
class Extra:
    """What an extra is for, as the end of "It is for ...", and the modules that it brings."""

    purpose: str
    modules: tuple[str, ...]


EXTRAS = {
    "report": Extra("the drawings in reports", ("matplotlib",)),
    "lenses": Extra("cameras and lenses by name", ("lensfunpy",)),
    "page": Extra("the page in a browser", ("starlette", "uvicorn", "segno", "tomlkit", "matplotlib")),
    "pictures": Extra("calibration and inspection from photographs", ("cv2",)),
    "tether": Extra("a camera that sends its files over USB", ("gphoto2",)),
}


def is_missing(extra: str) -> bool:
    """Whether a module of this extra is not installed; nothing is imported."""
    return any(find_spec(module) is None for module in EXTRAS[extra].modules)


def must_have(extra: str, what: str) -> None:
    """Raise InputError with the command to run if `extra`, which `what` needs, is not installed."""
    if is_missing(extra):
        if extra == "tether" and WINDOWS:
            raise InputError(f"{what} does not work on Windows: the library that it needs does not exist there.")
        raise InputError(f"{what} needs a part that is not installed. Add it with: {line_to_add(extra)}")


@contextmanager
def importing(extra: str, what: str) -> Iterator[None]:
    """Import a module of `extra` in here. Raises InputError, with what to do, if it is missing or cannot be loaded."""
    must_have(extra, what)
    try:
        yield
    except ImportError as error:  # a library of the system that it uses is missing
        raise InputError(f"{what} needs a part that is installed but cannot be loaded: {error}.") from None


def line_to_add(extra: str) -> str:
    """The command that adds `extra` to the environment that this program runs in, as the shell of this system takes it.

    pip, also as `pipx` and `uv` call it, accepts the program that is installed already and adds only what it needs.
    """
    wanted, here = f'"fullturn[{extra}]"', Path(sys.prefix)
    if here == ROOT / ".venv" and (ROOT / "start.py").exists():
        return f"{'py' if WINDOWS else 'python3'} {_quoted(ROOT / 'start.py')} add {extra}"
    if (here / "pipx_metadata.json").exists():
        return f"pipx runpip fullturn install {wanted}"
    if (here / "uv-receipt.toml").exists():
        return f"uv pip install --python {_quoted(Path(sys.executable))} {wanted}"
    if find_spec("pip") is None:  # some systems make environments without it
        return f"python3 -m pip --python {_quoted(Path(sys.executable))} install {wanted}"
    return f"{_quoted(Path(sys.executable))} -m pip install {wanted}"


def _quoted(path: Path) -> str:
    """The path as one word of a command line."""
    return f'"{path}"' if " " in str(path) else str(path)
