"""Read a user's file: any fault becomes one sentence. All files are read here.

Exceptions: `picture_file` reads pictures, and `session.database` sessions. A file's type is checked before it is opened:
opening a pipe would wait for its writer, and opening a port may reset a board. Every kind of file has a maximum size, and
reading takes time in proportion to it.
"""

import csv
import errno
import json
import math
import os
import re
import stat
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, NoReturn, TypeVar

from controller.errors import InputError
from controller.shown import shown
from controller.system.opening import BYTES, NO_WAIT

if TYPE_CHECKING:
    from pydantic import BaseModel

Read = TypeVar("Read")
MEGABYTE = 10**6
SHOWN = 60  # characters of a text from a file in a sentence
LONGEST_LINE = 1000  # of TOML: the library's time grows with the square of the parts of a key
MOST_DEPTH = 32  # tables in tables; none of our files needs ten
LARGEST_WHOLE = 2**63 - 1  # TOML 1.0.0 asks for integers of 64 bits, and no more
MOST_CELLS = 1000  # in a line of CSV
LONGEST_CELL = 1000  # characters


@dataclass(frozen=True, slots=True)
class FileKind:
    """A kind of file: its name in sentences, its maximum size in bytes, and how to get one."""

    name: str
    most_bytes: int
    cure: str


KIT = FileKind("a kit", MEGABYTE // 4, "Write one with `fullturn kit new`.")
LOADS = FileKind("a table of options", MEGABYTE // 4, "Its keys are the options, as in mass_kg = 3.2.")
PLAN = FileKind("a plan", 64 * MEGABYTE, "Make one with `fullturn plan`.")
PLAN_IN_SESSION = FileKind(
    "a session's plan", PLAN.most_bytes, "The session is damaged; `fullturn report` shows what can still be read."
)
CALIBRATION = FileKind(
    "a calibration file", 64 * MEGABYTE, "Restore it from a copy, or move it away and calibrate again."
)
READINGS = FileKind("a table of readings", 64 * MEGABYTE, "Give a CSV file: text in UTF-8, columns divided by commas.")
SCENARIO = FileKind("a fault scenario", MEGABYTE // 4, "See `fullturn rehearse --list-faults` for those that exist.")
PROGRESS = FileKind("a record of the set-up", MEGABYTE, "Move it away, and go through the set-up again.")
MATCH = FileKind("a table that `fullturn match` wrote", 256 * MEGABYTE, "Name its match.json.")
RECORDING = FileKind("a recording of a line", 1024 * MEGABYTE, "Give the bytes as they came.")  # a day at 115200 baud
OURS = FileKind("a file of this program", 1024 * MEGABYTE, "Name another file.")
MARK = FileKind("a mark of this program", 10_000, "Name another folder.")
TRUTH = FileKind("a simulator's record", 1024 * MEGABYTE, "Name another file.")

UNFIT = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a disk"),
)


def open_file(path: Path, kind: FileKind) -> BinaryIO:
    """Open a regular file to read its bytes; the caller closes it. Never blocks. Raises InputError."""
    try:
        _must_be_regular(path, path.stat(), kind)
        file = os.fdopen(os.open(path, os.O_RDONLY | NO_WAIT | BYTES), "rb")
    except OSError as error:
        raise InputError(f"{path}: {_trouble(path, error)}.") from None
    except ValueError:  # a name that contains a zero byte
        raise InputError(f"{path!r}: no file can have this name.") from None
    try:
        _must_be_regular(path, os.fstat(file.fileno()), kind)  # it may have been replaced since the check
    except InputError:
        file.close()
        raise
    return file


def _must_be_regular(path: Path, about: os.stat_result, kind: FileKind) -> None:
    for is_one, what in UNFIT:
        if is_one(about.st_mode):
            refuse(path, kind, f"is {what}, not {kind.name}")
    if about.st_size > kind.most_bytes:
        refuse(path, kind, f"is {about.st_size / MEGABYTE:.3g} MB, too large for {kind.name}")


def read_bytes(path: Path, kind: FileKind) -> bytes:
    """The content of a regular file. Raises InputError."""
    content = _from(path, kind, lambda file: file.read(kind.most_bytes + 1))
    if len(content) > kind.most_bytes:
        refuse(path, kind, f"is too large for {kind.name}")
    return content


def digest_of(path: Path, kind: FileKind) -> str:
    """A digest of a file's content (SHA-256). Raises InputError."""

    def digest(file: BinaryIO) -> str:
        found = sha256()
        while part := file.read(MEGABYTE):
            found.update(part)
        return found.hexdigest()

    return _from(path, kind, digest)


def _from(path: Path, kind: FileKind, read: Callable[[BinaryIO], Read]) -> Read:
    with open_file(path, kind) as file:
        try:
            return read(file)
        except OSError as error:  # a failing card, a drive that was disconnected
            raise InputError(f"{path}: {_trouble(path, error)}.") from None


def files_in(folder: Path) -> list[Path]:
    """The entries of a folder, sorted by name. Raises InputError."""
    try:
        return sorted(folder.iterdir())
    except OSError as error:
        raise InputError(f"{folder}: {_trouble(folder, error)}.") from None


CAUSES = {
    "ENAMETOOLONG": "no file can have so long a name",
    "ELOOP": "is a link that leads back to itself",
    "ENOTDIR": "one of its folders is a file",
    "EISDIR": "is a folder",
    "ESTALE": "its drive went away; connect it again",
    "ENODEV": "its drive went away; connect it again",
    "EMFILE": "too many files are open; close other programs",
    "ENFILE": "too many files are open; close other programs",
    "ENOMEM": "needs more memory than is free; close other programs",
}
"""The meaning of the system's error names (POSIX.1-2017, <errno.h>), and what to do."""


def _trouble(path: Path, error: OSError) -> str:
    if isinstance(error, FileNotFoundError):
        return "is a link to a file that does not exist" if path.is_symlink() else "does not exist"
    if isinstance(error, PermissionError):
        return "you have no permission to read it"
    name = errno.errorcode.get(error.errno or 0, "")
    return CAUSES.get(name, "the disk or card reports an error as it is read; copy it from there as far as you can")


def refuse(path: Path | str, kind: FileKind, what: str) -> NoReturn:
    """Raise InputError with the fault of a file and how to get one of this kind."""
    raise InputError(f"{path}: {what}. {kind.cure}")


def trouble_of(error: InputError, path: Path) -> str:
    """The fault of a file as a note beside its name: the sentence without the name and the cure."""
    return error.sentences[0].removeprefix(f"{path}: ").split(". ")[0].rstrip(".")


def as_text(name: str) -> str:
    """A file's name as text that can be written anywhere: its invalid UTF-8 bytes as hex after a backslash."""
    return os.fsencode(name).decode("utf-8", "backslashreplace")


def holds(path: Path, kind: FileKind, model: "type[BaseModel]") -> bool:
    """Whether a file is JSON that fits a model."""
    try:
        model.model_validate_json(read_bytes(path, kind))
    except (InputError, ValueError):  # includes the model's ValidationError
        return False
    return True


def read_text(path: Path, kind: FileKind) -> str:
    """The text of a file in UTF-8, with or without a byte order mark. Raises InputError."""
    content = read_bytes(path, kind)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        refuse(path, kind, f"line {line} is not text in UTF-8, so this is not {kind.name}")


def read_toml(path: Path, kind: FileKind) -> dict[str, Any]:
    """The tables of a TOML file. Raises InputError that names the line."""
    return parse_toml(read_text(path, kind), path, kind)


def parse_toml(text: str, name: Path | str, kind: FileKind) -> dict[str, Any]:
    """The tables of a TOML text from the file `name`. Raises InputError that names the line, or the key."""
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > LONGEST_LINE:
            refuse(name, kind, f"line {number} has {len(line)} characters; no more than {LONGEST_LINE} are read")
    try:
        tables = tomllib.loads(text)
    except RecursionError:
        refuse(name, kind, f"is nested too deeply for {kind.name}")
    except tomllib.TOMLDecodeError as error:
        refuse(name, kind, f"is {_toml_trouble(text, str(error))}")
    except ValueError:  # a whole number with thousands of digits, or a date that does not exist
        refuse(name, kind, f"{_odd_value(text)}holds a number or a date that cannot be")
    _must_be_sound(tables, name, kind)
    return tables


def _odd_value(text: str) -> str:
    """The place of the value that the parser rejected: the first line without which it succeeds."""
    lines = text.split("\n")
    low, high = 0, len(lines)
    while low < high:  # the first lines alone fail for the same reason once they contain it
        middle = (low + high) // 2
        if _is_odd("\n".join(lines[: middle + 1])):
            high = middle
        else:
            low = middle + 1
    return f"line {low + 1} "


def _is_odd(text: str) -> bool:
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return False
    except ValueError:
        return True
    return False


def parse_json(text: str, name: Path | str, kind: FileKind) -> Any:
    """The value of a JSON text from the file `name`. Raises InputError that names line and column, or the key.

    It refuses NaN and the infinities (RFC 8259, section 6), a key that an object has twice (section 4), and half of a
    surrogate pair (section 8.2).
    """
    try:
        value = json.loads(text, parse_constant=_no_constant, object_pairs_hook=_once)
    except json.JSONDecodeError as error:
        refuse(name, kind, f"is not {kind.name} ({_syntax_trouble('JSON', text, error.lineno, error.colno)})")
    except RecursionError:
        refuse(name, kind, f"is nested too deeply for {kind.name}")
    except _NotJson as error:
        refuse(name, kind, f"is not {kind.name} (not valid JSON: {error})")
    except ValueError:
        refuse(name, kind, "holds a whole number of thousands of digits")
    _must_be_sound(value, name, kind)
    return value


def read_json(path: Path, kind: FileKind) -> Any:
    """The value of a JSON file. Raises InputError."""
    return parse_json(read_text(path, kind), path, kind)


def _toml_trouble(text: str, says: str) -> str:
    """The place at which a text is not TOML, from the library's message, which ends with it."""
    place = re.search(r"at line (\d+), column (\d+)", says)
    lines = text.rstrip().split("\n")
    line, column = map(int, place.groups()) if place else (len(lines), len(lines[-1]) + 1)  # at the end of the document
    trouble = _syntax_trouble("TOML", text, line, column)
    twice = "overwrite" in says or "twice" in says or "more than once" in says
    return f"{trouble}: an earlier line has that name" if twice else trouble


def _syntax_trouble(language: str, text: str, line: int, column: int) -> str:
    """The place at which a text breaks the rules of a language, and its content there."""
    whole = text.split("\n")[line - 1]
    there = shown(whole if len(whole) <= SHOWN else whole[max(0, column - 1) :], SHOWN)
    return f"not valid {language} at line {line}, column {column}" + (f": {there.strip()}" if there.strip() else "")


class _NotJson(ValueError):
    """Something that Python accepts but JSON does not allow."""


def _no_constant(text: str) -> NoReturn:
    raise _NotJson(f"{text} is not a number")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise _NotJson(f'the key "{shown(twice)}" is there twice')
    return found


def _must_be_sound(value: Any, name: Path | str, kind: FileKind) -> None:
    """Raise InputError that names the key of a value that nothing could use or write again."""
    left: list[tuple[Any, tuple[Any, ...]]] = [(value, ())]
    while left:
        one, place = left.pop()
        if isinstance(one, dict):
            left += [(each, (*place, key)) for key, each in one.items()]
            left += [(key, place) for key in one if not key.isascii()]
        elif isinstance(one, list):
            left += [(each, (*place, number)) for number, each in enumerate(one)]
        elif why := _unsound(one):
            refuse(name, kind, f"{_key(place)} {why}")
        if len(place) > MOST_DEPTH:
            refuse(name, kind, f"is nested too deeply for {kind.name}, at {_key(place)}")


def _unsound(value: Any) -> str:
    """Why a single value is unusable; empty if it is usable."""
    if isinstance(value, float) and not math.isfinite(value):
        return f"= {value} is not a finite number"
    if isinstance(value, int) and not -LARGEST_WHOLE - 1 <= value <= LARGEST_WHOLE:
        return f"= {shown(str(value))} is too large a number"
    if isinstance(value, str) and not value.isascii():
        try:
            value.encode()
        except UnicodeEncodeError:
            return "holds half of a pair of surrogates, which is no text"
    return ""


def _key(place: tuple[Any, ...]) -> str:
    parts = (f"[{part}]" if isinstance(part, int) else f".{shown(part)}" for part in place[:8])
    return "".join(parts).removeprefix(".") or "it"


def read_csv(path: Path, kind: FileKind) -> Iterator[tuple[int, list[str]]]:
    """The non-empty lines of a CSV file (RFC 4180), with their numbers; cells are stripped of blanks.

    Raises InputError that names the line.
    """
    text = read_text(path, kind).replace("\r\n", "\n").replace("\r", "\n")
    if "\0" in text:
        refuse(path, kind, f"line {text.count(chr(10), 0, text.index(chr(0))) + 1} holds a zero byte")
    reader = csv.reader(text.split("\n"), skipinitialspace=True, strict=True)
    begin = 1
    try:
        for row in reader:
            cells = [cell.strip() for cell in row]
            if len(cells) > MOST_CELLS:
                refuse(path, kind, f"line {begin} has {len(cells)} cells; no more than {MOST_CELLS} are read")
            if any(len(cell) > LONGEST_CELL for cell in cells):
                refuse(path, kind, f"line {begin} has a cell of more than {LONGEST_CELL} characters")
            if any(cells):
                yield begin, cells
            begin = reader.line_num + 1
    except csv.Error:
        refuse(
            path,
            kind,
            f"line {begin} has a quotation mark that does not end where its cell does, or too much in one cell",
        )
