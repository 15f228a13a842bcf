"""Who may import whom, and how large things may grow: the rules of DEVELOPERS.md, checked by reading every file."""

import ast
import sys
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("controller", "protocol", "sim")
FILES = sorted(path for package in (*PACKAGES, "tests") for path in (ROOT / package).rglob("*.py"))
MEETING_PLACES = {
    f"controller/commands/{name}.py"
    for name in ("faults", "rehearse", "simulate", "pictures", "stand_in", "calibrate_rehearsal")
}
# Modules that only one file may import.
ONLY_IN = {
    "transitions": {"controller/capture/machine.py"},
    "sqlite3": {"controller/session/database.py"},
    "serial": {"controller/ports/serial_port.py"},
    "time": {"controller/clock.py", "sim/serve.py"},
    "lensfunpy": {"controller/kit/lens_data.py"},
    "threading": set(),
    **{name: set[str]() for name in ("pwd", "resource")},
    "grp": {"controller/doctor/this_computer.py"},
}
# Libraries that only one room may import: the page waits for many devices at once, and nothing else does.
ONLY_UNDER = dict.fromkeys(("asyncio", "starlette", "uvicorn", "segno"), "controller/page/")
# What differs between operating systems: these modules, and the questions which system it is.
OF_THE_SYSTEM = {"signal", "fcntl", "msvcrt", "termios", "tty", "pty", "select", "ctypes", "_winapi", "winreg"}
ASKED = {"sys.platform", "os.name", "platform.system"}
KNOW_THE_SYSTEM = ("controller/system/", "sim/system.py")
# These report which system it is, and look at what only one has.
TELL_THE_SYSTEM = (
    *("controller/doctor/", "controller/commands/version.py"),
    "controller/commands/install_service.py",
)
BOTTOM = "system"
"""The room under all others. It imports none of them, nor any other module of the host but these."""
UNDER_THE_BOTTOM = {"errors", "clock"}
# Inside the host, from the ground up: a room imports only earlier rooms and the foundation.
ROOMS = (
    *("optics", "kit", "shaping", "program", "planning", "session", "capture", "showing", "ports", "conformance"),
    *("calibration", "matching", "inspection", "setup", "report", "guide", "doctor", "commands", "page", "cli"),
)
# Not for all later rooms, although the order would allow it.
ONLY_FOR = {"conformance": {"commands", "cli"}, "ports": {"commands", "cli"}}
# The screen: only these rooms import it.
FRONT_FOR = {"commands": {"display"}, "cli": {"display", "progress"}}
# The functions that block waiting for bytes; all others wait through these.
WAITS = {
    "controller/capture/line.py": {"wait_turn"},
    "controller/conformance/talk.py": {"wait_message"},
    "controller/ports/listening.py": {"wait_traffic"},
    "controller/commands/calibrate_rehearsal.py": {"wait_still"},
}
FUNCTION_LINES, MODULE_LINES = 60, 400


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@cache
def nodes_of(path: Path) -> list[ast.AST]:
    """What the rules look at in a file."""
    kinds = (ast.Import, ast.ImportFrom, ast.FunctionDef, ast.Call, ast.Attribute)
    return [node for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(node, kinds)]


@pytest.fixture(scope="module", autouse=True)
def forgotten() -> Iterator[None]:
    """Parsed files take 100 MB and more."""
    yield
    nodes_of.cache_clear()


def imports_of(path: Path) -> Iterator[str]:
    for node in nodes_of(path):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name_of(path)}: relative import"
            yield node.module or ""


def program_files() -> list[Path]:
    return [path for path in FILES if not name_of(path).startswith("tests/")]


def in_each(paths: Sequence[Path]) -> Callable[[Callable[[Path], None]], Callable[[], None]]:
    """Make one test of a rule for these files; it fails with what is wrong in each. Thousands of tests take seconds."""

    def of_rule(rule: Callable[[Path], None]) -> Callable[[], None]:
        def test_of_rule() -> None:
            wrong = []
            for path in paths:
                try:
                    rule(path)
                except AssertionError as error:
                    wrong.append(f"{name_of(path)}: {error}")
            assert not wrong, "\n".join(wrong)

        return test_of_rule

    return of_rule


def test_there_is_something_to_look_at() -> None:
    assert len(program_files()) > 40


@in_each(program_files())
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
        if top in ONLY_UNDER:
            assert name.startswith(ONLY_UNDER[top]), f"{name} imports {module}"
        if top == "click":
            assert name.startswith("controller/cli/"), f"{name} imports {module}"
        if top in OF_THE_SYSTEM:
            assert name.startswith((*KNOW_THE_SYSTEM, *TELL_THE_SYSTEM)), f"{name} imports {module}"


@in_each(program_files())
def test_only_one_room_asks_which_system_it_runs_on(path: Path) -> None:
    asked = {
        ast.unparse(node)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Attribute)
    }
    assert name_of(path).startswith((*KNOW_THE_SYSTEM, *TELL_THE_SYSTEM)) or not asked & ASKED


@in_each(program_files())
def test_chance_is_always_seeded(path: Path) -> None:
    for node in nodes_of(path):
        if isinstance(node, ast.Import):
            assert all(alias.name != "random" for alias in node.names), "import Random, and seed it"
        if isinstance(node, ast.ImportFrom) and node.module == "random":
            # A rig served in real time draws boot ids that must not repeat.
            drawn = "SystemRandom" if name_of(path) == "controller/commands/simulate.py" else "Random"
            assert [alias.name for alias in node.names] == [drawn]


@in_each(program_files())
def test_nobody_asks_for_the_time_of_day(path: Path) -> None:
    """Moments may be passed on; only one module reads them from a clock."""
    for node in nodes_of(path):
        if isinstance(node, ast.Attribute) and node.attr in {"now", "utcnow", "today"}:
            of_a_type = isinstance(node.value, ast.Name) and node.value.id in {"datetime", "date"}
            assert not of_a_type or name_of(path) == "controller/clock.py"


def test_bytes_are_waited_for_in_few_places() -> None:
    """`Port.wait_bytes` is the only call that blocks on a board, and only these functions call it."""
    found: dict[str, set[str]] = {}
    for path in program_files():
        if not name_of(path).startswith("controller/"):
            continue
        for node in nodes_of(path):
            if isinstance(node, ast.FunctionDef) and "wait_bytes" in calls_in(node):
                found.setdefault(name_of(path), set()).add(node.name.lstrip("_"))
    assert found == WAITS


def calls_in(node: ast.FunctionDef) -> set[str]:
    """The names of the methods that a function itself calls."""
    return {
        call.func.attr for call in ast.walk(node) if isinstance(call, ast.Call) and isinstance(call.func, ast.Attribute)
    }


def room_of(module: str) -> str:
    """The room of a module of the host, or its own name if it is at the top."""
    return module.split(".")[1] if module.count(".") else ""


def imports_with_names(path: Path) -> Iterator[str]:
    for node in nodes_of(path):
        if isinstance(node, ast.ImportFrom) and node.module == "controller":
            yield from (f"controller.{alias.name}" for alias in node.names if not alias.name.startswith("__"))
    yield from (module for module in imports_of(path) if module.startswith("controller."))


def _foundation() -> set[str]:
    """The modules at the top of the host that import no room: any room may import them."""
    tops = {path.stem: path for path in (ROOT / "controller").glob("*.py")}
    known = {BOTTOM}
    while True:
        new = {name for name, path in tops.items() if {room_of(module) for module in imports_with_names(path)} <= known}
        if new | {BOTTOM} == known:
            return known
        known = new | {BOTTOM}


FOUNDATION = _foundation()


def may_import(room: str, other: str) -> bool:
    """Whether a module of one room may import from another."""
    if room == BOTTOM:
        return other in {BOTTOM, *UNDER_THE_BOTTOM}
    if room == other or other in FOUNDATION:
        return True
    if room in FOUNDATION:
        return False
    if other in ONLY_FOR and room in ROOMS:
        return room in ONLY_FOR[other]
    if other in ROOMS:
        return room not in ROOMS or ROOMS.index(other) < ROOMS.index(room)
    return room not in ROOMS or other in FRONT_FOR.get(room, set())


@in_each(sorted((ROOT / "controller").rglob("*.py")))
def test_a_room_imports_only_what_is_below_it(path: Path) -> None:
    parts = path.relative_to(ROOT).with_suffix("").parts
    for module in imports_with_names(path):
        assert may_import(parts[1], room_of(module)), f"{name_of(path)} imports {module}"


def test_every_room_has_its_place() -> None:
    assert {"errors", "files", "clock"} <= FOUNDATION
    assert "display" not in FOUNDATION
    folders = {path.parent.name for path in (ROOT / "controller").glob("*/__init__.py")}
    assert folders == {BOTTOM, *ROOMS}


@in_each(FILES)
def test_nothing_grows_too_long(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") <= MODULE_LINES
    for node in nodes_of(path):
        if isinstance(node, ast.FunctionDef):
            assert node.end_lineno is not None
            assert node.end_lineno - node.lineno < FUNCTION_LINES, f"{node.name} is too long"


NEVER_WRITTEN = {"controller/kit/load.py"}  # a kit on its way to the model, which refuses what is not finite


@in_each(program_files())
def test_no_json_holds_what_json_does_not_know(path: Path) -> None:
    """NaN and the infinities are not JSON (RFC 8259, section 6), although Python writes them by default."""
    for node in nodes_of(path):
        if isinstance(node, ast.Call) and ast.unparse(node.func) in {"json.dumps", "json.dump"}:
            given = {each.arg: ast.unparse(each.value) for each in node.keywords}
            assert given.get("allow_nan") == "False" or name_of(path) in NEVER_WRITTEN, node.lineno
