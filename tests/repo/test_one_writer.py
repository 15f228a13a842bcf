"""Only two modules write, rename, link or remove files: checked by reading every file of the program."""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
WRITERS = {"controller/files.py", "controller/folders.py", "controller/system/disk.py"}
EXCEPTIONS = {
    # Not the user's files: locks, on systems whose kernel has no names for them.
    "controller/lock_file.py": {"mkdtemp", "rename", "rmdir", "chmod", "open", "ftruncate", "unlink"},
    # The null device, so that a terminal that hangs up does not end the run.
    "controller/capture/interrupts.py": {"open"},
    # Drawn in memory.
    "controller/report/drawing.py": {"savefig"},
    "controller/report/proof_pictures.py": {"save"},
    # The second name of a simulated port, a link. It is made only if nothing is there (O_CREAT for its lock alone).
    "sim/terminal.py": {"open", "symlink_to", "unlink"},
    # Copies pages into a temporary folder, and what was built from there into a folder that appears as a whole.
    "controller/guide/site.py": {"copyfile", "copytree", "mkdir", "open", "write_text"},
    # The simulator may import nothing of the host's. It gets a new name in a folder that does not exist yet.
    "sim/scene/photograph.py": {"save"},
}
ALWAYS = {
    "write_text", "write_bytes", "mkdir", "makedirs", "rename", "renames", "symlink", "symlink_to", "link",
    "hardlink_to", "unlink", "rmdir", "removedirs", "rmtree", "copy2", "copyfile", "copytree",
    "savefig", "imwrite", "save", "NamedTemporaryFile", "TemporaryFile", "mkstemp", "mkdtemp", "TemporaryDirectory",
    "truncate", "ftruncate", "mknod", "mkfifo", "chmod", "chown", "utime",
}  # fmt: skip
WRITING_MODES = set("wax+")


def writing_calls(tree: ast.AST) -> Iterator[str]:
    """The names of the calls in a module that may write to the disk."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, (ast.Attribute, ast.Name)):
            of = ast.unparse(node.func.value) if isinstance(node.func, ast.Attribute) else ""
            name = node.func.attr if isinstance(node.func, ast.Attribute) else node.func.id
            if name in ALWAYS or SOMETIMES.get(name, _never)(node, of):
                yield name


def _never(_: ast.Call, __: str) -> bool:
    return False


def _opens_to_write(node: ast.Call, _: str) -> bool:
    if any(flag in ast.unparse(node) for flag in ("O_WRONLY", "O_RDWR", "O_CREAT", "O_TRUNC")):
        return True
    modes = [
        each.value for each in (*node.args, *(word.value for word in node.keywords)) if isinstance(each, ast.Constant)
    ]
    return any(isinstance(mode, str) and len(mode) <= 3 and WRITING_MODES & set(mode) for mode in modes)


def _renames(node: ast.Call, of: str) -> bool:
    """A path's `replace` has one argument; a text's has two, a moment's has names."""
    return of == "os" or (bool(of) and len(node.args) == 1 and not node.keywords)


SOMETIMES: dict[str, Callable[[ast.Call, str], bool]] = {
    "open": _opens_to_write,
    "replace": _renames,
    "remove": lambda _, of: of == "os",
    "move": lambda _, of: of == "shutil",
    "touch": lambda node, _: not node.args,
}


FILES = sorted(path for package in ("controller", "protocol", "sim") for path in (ROOT / package).rglob("*.py"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_only_the_writers_write(path: Path) -> None:
    name = path.relative_to(ROOT).as_posix()
    found = set(writing_calls(ast.parse(path.read_text(encoding="utf-8"))))
    if name not in WRITERS:
        assert found <= EXCEPTIONS.get(name, set()), f"{name} writes by {sorted(found)}"


@pytest.mark.parametrize("name", sorted(EXCEPTIONS))
def test_every_exception_is_one(name: str) -> None:
    assert set(writing_calls(ast.parse((ROOT / name).read_text(encoding="utf-8")))) == EXCEPTIONS[name]


@pytest.mark.parametrize(
    "line",
    [
        "open(path, 'w')", "path.open('ab')", "open(path, mode='x')", "os.open(path, os.O_RDWR)", "path.replace(other)",
        "os.replace(a, b)", "path.touch()", "shutil.copy2(a, b)", "image.save(path)", "path.mkdir()", "os.remove(a)",
    ],
)  # fmt: skip
def test_writing_is_seen(line: str) -> None:
    assert list(writing_calls(ast.parse(line)))


@pytest.mark.parametrize(
    "line", ["open(path)", "path.open('rb')", "text.replace('a', 'b')", "moment.replace(tzinfo=UTC)"]
)
def test_reading_is_let_be(line: str) -> None:
    assert not list(writing_calls(ast.parse(line)))
