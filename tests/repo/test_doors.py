"""Only a few modules, the doors, open, read and decode the user's files. Checked by reading every module."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.repo.test_layers import name_of, program_files

DOORS = {"controller/reading.py", "controller/picture_file.py", "controller/session/database.py"}
OWN = "reads a file that comes with the program"
EXCEPTIONS = {
    "controller/kit/schema.py": OWN,
    "controller/kit/example.py": OWN,
    "controller/kit/other_names.py": OWN,
    "controller/setup/steps.py": OWN,
    "controller/guide/meanings.py": OWN,
    "controller/guide/pages.py": OWN,
    "controller/guide/site.py": OWN,
    "controller/commands/firmware.py": OWN,
    "controller/commands/help.py": "opens the browser at a page that comes with the program",
    "sim/scenario.py": "reads the program's own; that of a user was checked at the door, which gave the text",
    "sim/truth.py": "decodes a text that came through the door: sim does not import controller",
    "controller/files.py": "writes",
    "controller/display.py": "appends to the log",
    "controller/system/abstract_names.py": "asks the kernel which names are in use",
    "controller/lock_file.py": "opens the locks, and follows nothing that stands in their place",
    "controller/ports/serial_port.py": "a port is no file",
    "controller/system/keyboard.py": "a terminal is no file",
    "controller/system/pipe_ends.py": "a pipe is no file",
    "controller/system/clock_trust.py": "asks the kernel for the name of this start",
    "controller/system/disk.py": "opens a folder, to write its list of names to the disk",
    "controller/page/warm.py": "decodes what a process of the program printed",
    "controller/page/work.py": "decodes what a process of the program printed",
    "controller/cli/plan_worker.py": "decodes what the page wrote to it",
    "controller/cli/kit_worker.py": "decodes what the page wrote to it",
    "controller/page/kit_text.py": "decodes the text of a kit that it has just made",
    "controller/capture/interrupts.py": "opens the null device",
    "controller/kit/draft.py": "decodes the text of a kit that it is about to write",
    "sim/terminal.py": "a pseudo-terminal is no file",
}
OPENS = {"open", "read_text", "read_bytes", "fdopen", "imread", "imdecode", "process_file", "memmap", "fromfile"}
DECODES = {("json", "loads"), ("json", "load"), ("tomllib", "loads"), ("tomllib", "load"), ("csv", "reader")}
DECODES |= {("csv", "DictReader"), ("Image", "open"), ("np", "load"), ("np", "loadtxt"), ("np", "genfromtxt")}
DECODES |= {("os", "read"), ("sqlite3", "connect"), ("ElementTree", "parse"), ("ElementTree", "fromstring")}
LIBRARIES = {"exifread", "csv", "tomllib", "pickle", "mmap", "shelve", "fileinput", "piexif"}
WRITES = {"csv"}  # may be imported for writing


def uses(path: Path) -> Iterator[str]:
    """The uses in a module that only a door may have."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    from_doors = {
        alias.asname or alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.module in {"controller.reading", "controller.picture_file"}
        for alias in node.names
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            if node.func.id in OPENS and node.func.id not in from_doors:
                yield f"line {node.lineno} calls {node.func.id}"
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            of = node.func.value.id if isinstance(node.func.value, ast.Name) else ""
            is_session = of == "Session" and node.func.attr == "open"
            if (node.func.attr in OPENS and not is_session) or (of, node.func.attr) in DECODES:
                yield f"line {node.lineno} calls {of}.{node.func.attr}"
        elif isinstance(node, ast.Import):
            for alias in node.names:
                if alias.name in LIBRARIES - WRITES:
                    yield f"line {node.lineno} imports {alias.name}"


@pytest.mark.parametrize("path", program_files(), ids=name_of)
def test_only_doors_open_files(path: Path) -> None:
    if name_of(path) not in DOORS | EXCEPTIONS.keys():
        assert not list(uses(path))


@pytest.mark.parametrize("name", sorted(DOORS | EXCEPTIONS.keys()))
def test_every_exception_is_still_needed(name: str) -> None:
    (path,) = [each for each in program_files() if name_of(each) == name]
    assert list(uses(path))
