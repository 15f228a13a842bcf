"""Delayed imports: no working module runs before a command does, and a wrong name is found at once."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

from controller.cli.later import later
from tests.loaded import distributions
from tests.repo.test_layers import ROOT, name_of, program_files

CLI = sorted((ROOT / "controller" / "cli").glob("*.py"))
# Imports inside functions, the only ones outside `with later()`: too slow or too large for most uses, an optional part,
# or not available on every system.
INSIDE = {
    ("controller/calibration/finding.py", "scipy.special"),
    ("controller/doctor/this_computer.py", "grp"),
    ("controller/kit/lens_data.py", "lensfunpy"),
    ("controller/planning/descent.py", "scipy.optimize"),
    ("controller/planning/links.py", "networkx"),
    ("controller/planning/motion.py", "scipy.ndimage"),
    ("controller/planning/near.py", "scipy.spatial"),
    ("controller/planning/sun.py", "astral"),
    ("controller/planning/sun.py", "astral.sun"),
    ("controller/report/drawn.py", "controller.report.calibration_plots"),
    ("controller/report/drawn.py", "controller.report.run_drawings"),
    ("controller/kit/load.py", "controller.kit"),
    ("controller/capture/tether.py", "gphoto2"),
    ("controller/calibration/registration.py", "cv2"),
    ("controller/commands/calibrate.py", "controller.report.calibration_page"),
}
EVERY_HELP = """\
import sys
from types import ModuleType
import click
from click.testing import CliRunner
from controller.cli.main import cli

def walk(command, words):
    yield words
    if isinstance(command, click.Group):
        for name, below in command.commands.items():
            yield from walk(below, [*words, name])

lines = list(walk(cli, []))
for words in lines:
    for wrong in (["--help"], ["--no-such-option"]):
        done = CliRunner().invoke(cli, [*words, *wrong])
        assert done.exit_code == (0 if wrong == ["--help"] else 2), (words, wrong, done.output)
rooms = {room + "." for room in ROOMS}
print(len(lines), *[n for n, m in list(sys.modules.items()) if type(m) is ModuleType and n.startswith(tuple(rooms))
                    and not hasattr(m, "__path__")])
print(*{name.split(".")[0] for name, module in sys.modules.items() if type(module) is ModuleType})
"""


def test_help_and_refusals_of_every_command_run_no_module_of_the_work() -> None:
    """In a fresh interpreter, which prints the modules that it has run."""
    rooms = [f"controller.{room}" for room in ("commands", "capture", "planning", "kit", "report", "session")]
    code = f"ROOMS = {[*rooms, 'sim']!r}\n{EVERY_HELP}"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=120)
    first, tops = done.stdout.splitlines()
    count, *ran = first.split()
    assert int(count) > 25
    assert ran == []
    assert distributions(tops.split()) == {"click"}


def blocks(path: Path) -> Iterator[ast.ImportFrom]:
    """The imports under `with later()`."""
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.With) and ast.unparse(node.items[0].context_expr) == "later()":
            for each in node.body:
                assert isinstance(each, ast.ImportFrom), f"{name_of(path)} line {each.lineno}: write from ... import ..."
                yield each


@pytest.mark.parametrize("path", CLI, ids=name_of)
def test_only_modules_are_put_off(path: Path) -> None:
    """Importing a name from a module would run it at once."""
    for node in blocks(path):
        for alias in node.names:
            if node.module and node.module.startswith("controller"):
                place = ROOT.joinpath(*node.module.split("."), f"{alias.name}.py")
                assert place.is_file(), f"{name_of(path)} puts off {alias.name}, which is no module"


def test_there_is_something_put_off() -> None:
    assert sum(len(node.names) for path in CLI for node in blocks(path)) > 30


def test_few_imports_are_inside_of_functions() -> None:
    found = {
        (name_of(path), node.module if isinstance(node, ast.ImportFrom) else node.names[0].name)
        for path in program_files()
        for function in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(function, ast.FunctionDef)
        for node in ast.walk(function)
        if isinstance(node, ast.Import | ast.ImportFrom)
    }
    assert found == INSIDE


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """An importable package whose module `work` records that it runs."""
    folder = tmp_path / "put_off_for_a_test"
    folder.mkdir()
    (folder / "__init__.py").write_text("", encoding="utf-8")
    (folder / "work.py").write_text("import sys\nsys.ran_for_a_test += 1\nANSWER = 42\n", encoding="utf-8")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setattr(sys, "ran_for_a_test", 0, raising=False)
    yield folder
    for name in [each for each in sys.modules if each.startswith(folder.name)]:
        del sys.modules[name]


def ran() -> int:
    return int(vars(sys)["ran_for_a_test"])


def import_work() -> ModuleType:
    from put_off_for_a_test import work  # type: ignore[import-not-found]

    assert isinstance(work, ModuleType)
    return work


def test_a_module_runs_once_when_something_is_first_taken_from_it(package: Path) -> None:
    with later():
        first = import_work()
        second = import_work()
    assert first is second
    assert ran() == 0
    assert first.ANSWER == 42
    assert second.ANSWER == 42
    assert import_work().ANSWER == 42
    assert ran() == 1


def test_outside_of_it_modules_run_at_once(package: Path) -> None:
    with later():
        pass
    import_work()
    assert ran() == 1


def test_a_module_that_does_not_exist_is_refused_at_once(package: Path) -> None:
    before = list(sys.meta_path)
    (package / "work.py").unlink()
    with pytest.raises(ImportError), later():
        import_work()
    assert sys.meta_path == before


def test_what_a_module_raises_when_it_runs_is_raised_at_its_first_use(package: Path) -> None:
    (package / "work.py").write_text("raise RuntimeError('no')\n", encoding="utf-8")
    with later():
        work = import_work()
    with pytest.raises(RuntimeError, match="no"):
        _ = work.ANSWER
