"""Who may import whom, and how large things may grow: the rules of DEVELOPERS.md, held by reading every file."""

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("controller", "protocol", "sim")
FILES = sorted(path for package in (*PACKAGES, "tests") for path in (ROOT / package).rglob("*.py"))
MEETING_PLACES = {
    f"controller/commands/{name}.py"
    for name in ("faults", "rehearse", "simulate", "pictures", "stand_in", "calibrate_rehearsal")
}
# Modules that one file alone may import.
ONLY_IN = {
    "transitions": {"controller/capture/machine.py"},
    "sqlite3": {"controller/session/database.py"},
    "serial": {"controller/ports/serial_port.py"},
    "time": {"controller/clock.py", "sim/serve.py"},
    "lensfunpy": {"controller/kit/lens_data.py"},
    "threading": set(),
    # Not on every system: what needs them is served another way there (`simulate --tcp`).
    "pty": {"sim/terminal.py"},
    "fcntl": {"sim/terminal.py", "controller/lock_file.py"},
    **{name: {"sim/terminal.py", "controller/typed.py"} for name in ("tty", "termios")},
    **{name: set[str]() for name in ("grp", "pwd", "resource")},
    "asyncio": set(),
}
FUNCTION_LINES, MODULE_LINES = 60, 400


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def imports_of(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name_of(path)}: relative import"
            yield node.module or ""


def program_files() -> list[Path]:
    return [path for path in FILES if not name_of(path).startswith("tests/")]


def test_there_is_something_to_look_at() -> None:
    assert len(program_files()) > 40


@pytest.mark.parametrize("path", program_files(), ids=name_of)
def test_a_layer_imports_only_what_it_may(path: Path) -> None:
    name = name_of(path)
    package = name.split("/")[0]
    for module in imports_of(path):
        top = module.split(".")[0]
        if package == "protocol":
            assert top == "protocol" or top in sys.stdlib_module_names, f"{name} imports {module}"
        if package == "sim":
            assert top != "controller", f"{name} imports {module}"
        if package == "controller" and name not in MEETING_PLACES:
            assert top != "sim", f"{name} imports {module}"
        assert top != "tests", f"{name} imports {module}"
        if top in ONLY_IN:
            assert name in ONLY_IN[top], f"{name} imports {module}"


@pytest.mark.parametrize("path", program_files(), ids=name_of)
def test_chance_is_always_seeded(path: Path) -> None:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            assert all(alias.name != "random" for alias in node.names), "import Random, and seed it"
        if isinstance(node, ast.ImportFrom) and node.module == "random":
            # A rig that is served in real time draws its boot ids, which must not come back.
            drawn = "SystemRandom" if name_of(path) == "controller/commands/simulate.py" else "Random"
            assert [alias.name for alias in node.names] == [drawn]


@pytest.mark.parametrize("path", program_files(), ids=name_of)
def test_nobody_asks_for_the_time_of_day(path: Path) -> None:
    """Moments may be passed about; they are read off a clock in one module only."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Attribute) and node.attr in {"now", "utcnow", "today"}:
            of_a_type = isinstance(node.value, ast.Name) and node.value.id in {"datetime", "date"}
            assert not of_a_type or name_of(path) == "controller/clock.py"


@pytest.mark.parametrize("path", program_files(), ids=name_of)
def test_only_names_that_say_so_may_wait(path: Path) -> None:
    """`Port.wait_bytes` is the one blocking call; only functions called wait_... (or the loop itself) reach it."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.FunctionDef):
            continue
        called = {
            call.func.attr
            for call in ast.walk(node)
            if isinstance(call, ast.Call) and isinstance(call.func, ast.Attribute)
        }
        if "wait_bytes" in called:
            assert node.name.lstrip("_").startswith("wait_"), f"{name_of(path)}: {node.name} waits"


@pytest.mark.parametrize("path", FILES, ids=name_of)
def test_nothing_grows_too_long(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") <= MODULE_LINES
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            assert node.end_lineno is not None
            assert node.end_lineno - node.lineno < FUNCTION_LINES, f"{node.name} is too long"


NEVER_WRITTEN = {"controller/kit/load.py"}  # a kit on its way through the model, which refuses what is not finite


@pytest.mark.parametrize("path", program_files(), ids=name_of)
def test_no_json_holds_what_json_does_not_know(path: Path) -> None:
    """NaN and the infinities are no JSON (RFC 8259, section 6), though Python writes them unless it is told not to."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and ast.unparse(node.func) in {"json.dumps", "json.dump"}:
            given = {each.arg: ast.unparse(each.value) for each in node.keywords}
            assert given.get("allow_nan") == "False" or name_of(path) in NEVER_WRITTEN, node.lineno
