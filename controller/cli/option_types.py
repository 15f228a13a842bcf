"""The types of options that are not numbers: texts, file names, times, durations, one of several words.

Each refuses impossible values (empty, control characters, much too long) before a command begins, in a sentence that says
what to type.
"""

import os
import stat
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from controller.errors import InputError
from controller.ports.address import BadAddress, Host, host_of, line_of
from controller.quantity import quoted
from controller.system.chosen import disk
from controller.texts import MOST_PATH_BYTES, MOST_TEXT, text_trouble
from controller.times import dated

MOST_NAME_BYTES = 255  # of one part of a path (Linux: limits.h)


class Text(click.ParamType[str]):
    """A text of one line. It may be empty only with `may_be_empty`."""

    name = "text"

    def __init__(self, most: int = MOST_TEXT, *, may_be_empty: bool = False) -> None:
        self.most, self.may_be_empty = most, may_be_empty

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Check. Fails like any click type."""
        text = str(value)
        if (text or not self.may_be_empty) and (trouble := text_trouble(text, self.most)):
            self.fail(trouble, param, ctx)
        return text


class OneOf(click.Choice[str]):
    """One of several words."""

    def __init__(self, choices: Sequence[str]) -> None:
        super().__init__(choices)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Check. Fails like any click type, and lists the words."""
        text = str(value)
        if text not in self.choices:
            *most, last = self.choices
            self.fail(f"there is no {quoted(text)}. Choose {', '.join(most)} or {last}.", param, ctx)
        return text


class DateAndTime(click.ParamType[datetime]):
    """A date and time with its offset from UTC."""

    name = "time"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> datetime:
        """Convert. Fails like any click type."""
        try:
            moment = value if isinstance(value, datetime) else dated(str(value))
        except InputError as error:
            self.fail(str(error), param, ctx)
        if moment.tzinfo is None:
            self.fail(f"{quoted(str(value))} needs its offset from UTC, like +02:00 or Z.", param, ctx)
        return moment


class CheckedText(click.ParamType[str]):
    """A text that `read` accepts; `read` raises InputError. It stays a text, because its meaning depends on the time of
    use.
    """

    name = "text"

    def __init__(self, read: Callable[[str], object]) -> None:
        self.read = read

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Check. Fails like any click type."""
        try:
            self.read(str(value))
        except InputError as error:
            self.fail(str(error), param, ctx)
        return str(value)


WANTED = {"file": "a file", "directory": "a folder", "path": "a file or a folder"}
"""What a path should be, by click's name for it."""


class PathName(click.Path):
    """The name of a file or folder; with `exists`, it must be there.

    Whether something can be written there is checked later.
    """

    def __init__(self, *, exists: bool = False, files: bool = True, folders: bool = False, name: str = "") -> None:
        super().__init__(exists=exists, file_okay=files, dir_okay=folders, path_type=Path)
        self.name = name or self.name
        self.wanted = WANTED[self.name]

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Check. Fails like any click type."""
        text = os.fspath(value)
        if trouble := self._of_name(text) or (self._of_place(text) if self.exists else ""):
            self.fail(trouble, param, ctx)
        return disk.usable(Path(text))

    def _of_name(self, text: str) -> str:
        """The fault of the name alone."""
        if not text.strip():
            return f"is empty. Name {self.wanted}."
        if "\0" in text or not (self.exists or text.isprintable()):
            return f"{quoted(text)} has characters in it that cannot be printed. Choose another name."
        data = os.fsencode(text)
        if len(data) > MOST_PATH_BYTES or (self.exists and max(map(len, data.split(b"/"))) > MOST_NAME_BYTES):
            return f"{quoted(text)} is too long for a name. Choose a shorter one."
        return ""

    def _of_place(self, text: str) -> str:
        """The fault of the file or folder at that place."""
        name = text if text.isprintable() else quoted(text)
        try:
            mode = os.stat(text).st_mode
        except FileNotFoundError:
            if os.path.islink(text):
                return f"{name} is a link to something that does not exist. Name {self.wanted} that does."
            return f"{name} does not exist. Name {self.wanted} that does."
        except PermissionError:
            return f"{name} is in a folder that you have no permission to look into."
        except OSError:
            return f"{name} cannot be reached. Name another place."
        if stat.S_ISDIR(mode) and not self.dir_okay:
            return f"{name} is a folder. Name a file."
        if not stat.S_ISDIR(mode) and not self.file_okay:
            return f"{name} is no folder. Name a folder."
        if not os.access(text, os.R_OK):
            return f"you have no permission to read {name}."
        return ""


class PathOrInput(PathName):
    """The name of an existing file, or - for standard input."""

    INPUT = "-"

    def __init__(self) -> None:
        super().__init__(exists=True)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Check. Fails like any click type."""
        return Path(self.INPUT) if str(value) == self.INPUT else super().convert(value, param, ctx)


class Address(click.ParamType[Host]):
    """HOST:PORT to serve at; with port 0 the system chooses one."""

    name = "address"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Host:
        """Convert. Fails like any click type, and offers the correct form."""
        try:
            return value if isinstance(value, Host) else host_of(str(value), least_port=0)
        except BadAddress as error:
            self.fail(str(error), param, ctx)


class PortName(click.ParamType[str]):
    """The name of a port."""

    name = "text"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Check. Fails like any click type, and offers the correct form."""
        try:
            line_of(str(value))
        except BadAddress as error:
            self.fail(str(error), param, ctx)
        return str(value)
