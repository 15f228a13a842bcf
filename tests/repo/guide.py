"""Run the guide's examples: a page shows exactly what the program prints.

A fenced block `console` is a terminal. Each line that begins with `$ fullturn` is run in the page's own folder, in order
down the page; a backslash at its end continues it. Below it is the whole output, in order. `...` replaces what is left
out, within a line or as a line of its own. If nothing is shown, the output is not checked. A command must end with status
0 unless `$ echo $?` and a number follow. `fullturn simulate` is served as if from another terminal, until the page ends.
Blocks `toml` and `csv` are files: the line before them, `name`:, names the file.
"""

import contextlib
import io
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from unittest.mock import patch

from controller.cli.main import main

FILES = ("toml", "csv")
# Progress bars, which a terminal erases.
BAR = re.compile(r"^\w+, \w+: \d+ of \d+$")
FENCE = re.compile(r"^```(\w*)$")
NAMED = re.compile(r"`([^`]+\.\w+)`[^`]*:$")


class Wrong(Exception):
    """A page shows something untrue; the text names the page and the line."""


@dataclass(frozen=True, slots=True)
class Block:
    """A fenced block: its language, the number of its first line, its lines, and the last line of text before it."""

    language: str
    line: int
    lines: tuple[str, ...]
    before: str


@dataclass(slots=True)
class Command:
    """A typed command, its place, and the output shown below it."""

    words: list[str]
    line: int
    shown: list[str] = field(default_factory=list)


def blocks(text: str) -> list[Block]:
    """All fenced blocks of a page, in order. Raises Wrong if one has no end."""
    found: list[Block] = []
    language, begun, before, inside = "", 0, "", list[str]()
    for number, line in enumerate(text.splitlines(), start=1):
        fence = FENCE.match(line)
        if begun and line == "```":
            found.append(Block(language, begun + 1, tuple(inside), before))
            begun, before = 0, ""
        elif begun:
            inside.append(line)
        elif fence:
            language, begun, inside = fence.group(1), number, []
        elif line.strip():
            before = line.strip()
    if begun:
        raise Wrong(f"line {begun}: this block has no end")
    return found


def commands(block: Block) -> list[Command]:
    """What a terminal block types and shows. Raises Wrong."""
    found: list[Command] = []
    typed = ""
    for number, line in enumerate(block.lines, start=block.line):
        if typed or line.startswith("$ "):
            typed += line.removeprefix("$ ") if not typed else " " + line.strip()
            if typed.endswith("\\"):
                typed = typed.removesuffix("\\").rstrip()
                continue
            found.append(Command(shlex.split(typed, comments=True), number))
            typed = ""
        elif not found:
            raise Wrong(f"line {number}: a terminal begins with `$ `")
        else:
            found[-1].shown.append(line)
    if typed:
        raise Wrong(f"line {block.line + len(block.lines) - 1}: nothing follows the backslash")
    return found


def fits(shown: list[str], printed: str) -> bool:
    """Whether the text shown is what was printed, with `...` for what is left out."""
    lines = [line.rstrip() for line in printed.splitlines() if not BAR.match(line)]
    pattern = ""
    for line in shown:
        part = ".*".join(re.escape(piece) for piece in line.rstrip().split("..."))
        pattern += r"(?:[^\n]*\n)*?" if line.strip() == "..." else part + r"\n"
    return re.fullmatch(pattern, "".join(line + "\n" for line in lines)) is not None


def run_page(text: str, folder: Path) -> int:
    """Run everything that a page shows, in `folder`; return the number of commands. Raises Wrong."""
    count = 0
    with contextlib.ExitStack() as served, contextlib.chdir(folder):
        for block in blocks(text):
            if block.language in FILES:
                name = NAMED.search(block.before)
                if name is None:
                    raise Wrong(f"line {block.line}: the line before does not name this file")
                (folder / name.group(1)).write_text("\n".join(block.lines) + "\n", encoding="utf-8")
            elif block.language == "console":
                count += _run(commands(block), served)
    return count


def _run(typed: list[Command], served: contextlib.ExitStack) -> int:
    status, wanted = 0, [_asked_status(command) for command in typed[1:]] + [None]
    count = 0
    for command, expected in zip(typed, wanted, strict=True):
        if _asked_status(command) is not None:
            continue
        if command.words[0] != "fullturn":
            raise Wrong(f"line {command.line}: only fullturn and `echo $?` are run here, not {command.words[0]}")
        count += 1
        if command.words[1:2] == ["simulate"]:
            status, printed = 0, served.enter_context(_serving(command.words[1:]))
        else:
            status, printed = call(command.words[1:])
        if status != (expected or 0):
            raise Wrong(f"line {command.line}: ended with status {status}, not {expected or 0}; it printed\n{printed}")
        if command.shown and not fits(command.shown, printed):
            raise Wrong(f"line {command.line}: what is shown is not what it printed, which is\n{printed}")
    return count


def _asked_status(command: Command) -> int | None:
    if command.words != ["echo", "$?"]:
        return None
    if len(command.shown) != 1 or not command.shown[0].isdecimal():
        raise Wrong(f"line {command.line}: `echo $?` shows one number")
    return int(command.shown[0])


def call(words: list[str]) -> tuple[int, str]:
    """The exit status of `fullturn` with these words, and its output in the order of a terminal."""
    printed = io.StringIO()
    status = 0
    with (
        patch.object(sys, "argv", ["fullturn", *words]),
        patch.object(sys, "stdin", io.StringIO()),
        contextlib.redirect_stdout(printed),
        contextlib.redirect_stderr(printed),
    ):
        try:
            main()
        except SystemExit as end:
            status = end.code if isinstance(end.code, int) else int(end.code is not None)
    return status, printed.getvalue().replace(os.sep, "/")  # paths look the same on every system


@contextlib.contextmanager
def _serving(words: list[str]) -> Iterator[str]:
    """Serve a simulated rig in a separate process; yield its first line. It is killed at the end."""
    command = [sys.executable, "-m", "controller", *words]
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            yield process.stdout.readline()
        finally:
            process.kill()


def numbers_apart(one: str, other: str) -> tuple[str, str, list[float], list[float]]:
    """Two texts without their numbers, and the numbers, whose last digits may differ between computers."""
    number = re.compile(r"-?\d+\.\d+")
    return (
        number.sub("#", one),
        number.sub("#", other),
        [float(each) for each in number.findall(one)],
        [float(each) for each in number.findall(other)],
    )
