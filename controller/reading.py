"""The one way to read a file that somebody gave: whatever is wrong with it is one sentence."""

import json
import os
import stat
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from controller.errors import InputError

MEGABYTE = 10**6


@dataclass(frozen=True, slots=True)
class FileKind:
    """What a file should be: its name in sentences, the most bytes it can sensibly have, and how to get one."""

    name: str
    most_bytes: int
    cure: str


KIT = FileKind("a kit", MEGABYTE, "Write one with `fullturn kit new`.")
PLAN = FileKind("a plan", 256 * MEGABYTE, "Make one with `fullturn plan`.")
SCENARIO = FileKind("a fault scenario", MEGABYTE, "See `fullturn rehearse --list-faults` for those that exist.")
PROGRESS = FileKind("a record of the set-up", MEGABYTE, "Move it away, and go through the set-up again.")
MATCH = FileKind("a table that `fullturn match` wrote", 256 * MEGABYTE, "Name its match.json.")
TRUTH = FileKind("a simulator's record", 1024 * MEGABYTE, "Name another file.")

UNFIT = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a disk"),
)


def read_bytes(path: Path, kind: FileKind) -> bytes:
    """The content of a regular file. Never waits for anybody to write to it. Raises InputError."""
    try:
        about = path.stat()  # before it is opened: to open a port may already reset a board
        for is_one, what in UNFIT:
            if is_one(about.st_mode):
                _refuse(path, kind, f"is {what}, not {kind.name}")
        if about.st_size > kind.most_bytes:
            _refuse(path, kind, f"is {about.st_size / MEGABYTE:.0f} MB, too large for {kind.name}")
        flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        with open(os.open(path, flags), "rb") as file:
            content = file.read(kind.most_bytes + 1)
    except OSError as error:
        raise InputError(f"{path}: {_trouble(path, error)}.") from None
    except ValueError:  # a name with a zero byte in it
        raise InputError(f"{path!r}: no file can have this name.") from None
    if len(content) > kind.most_bytes:
        _refuse(path, kind, f"is too large for {kind.name}")
    return content


def _trouble(path: Path, error: OSError) -> str:
    if isinstance(error, FileNotFoundError):
        return "is a link to a file that does not exist" if path.is_symlink() else "does not exist"
    if isinstance(error, PermissionError):
        return "you have no permission to read it"
    return f"cannot be read ({error.strerror})"


def _refuse(path: Path, kind: FileKind, what: str) -> NoReturn:
    raise InputError(f"{path}: {what}. {kind.cure}")


def read_text(path: Path, kind: FileKind) -> str:
    """The text of a file in UTF-8, with or without a byte order mark. Raises InputError."""
    content = read_bytes(path, kind)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        _refuse(path, kind, f"line {line} is not text in UTF-8, so this is not {kind.name}")


def read_toml(path: Path, kind: FileKind) -> dict[str, Any]:
    """The tables of a TOML file. Raises InputError that names the line."""
    text = read_text(path, kind)
    try:
        return tomllib.loads(text)
    except RecursionError:
        _refuse(path, kind, f"is nested too deeply for {kind.name}")
    except ValueError as error:  # broken TOML, or a whole number of thousands of digits
        _refuse(path, kind, f"is not valid TOML: {str(error).rstrip('.')}")


def parse_json(text: str, name: Path | str, kind: FileKind) -> Any:
    """The value of a JSON text that came from `name`. Raises InputError that names line and column.

    NaN and the infinities are refused (RFC 8259, section 6), and so is a key that an object has twice (section 4).
    """
    try:
        return json.loads(text, parse_constant=_no_constant, object_pairs_hook=_once)
    except json.JSONDecodeError as error:
        what = f"is not valid JSON at line {error.lineno}, column {error.colno}: {error.msg}"
    except RecursionError:
        what = f"is nested too deeply for {kind.name}"
    except ValueError as error:
        what = f"is not valid JSON: {str(error).rstrip('.')}"
    raise InputError(f"{name}: {what}. {kind.cure}")


def read_json(path: Path, kind: FileKind) -> Any:
    """The value of a JSON file. Raises InputError."""
    return parse_json(read_text(path, kind), path, kind)


def _no_constant(text: str) -> NoReturn:
    raise ValueError(f"{text} is not a number")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"the key {twice[:60]!r} is there twice")
    return found
