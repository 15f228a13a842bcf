"""The extras: which are missing, and for each kind of installation the line that adds one."""

from __future__ import annotations

import re
import sys
import tomllib
from pathlib import Path

import pytest

from controller import extras
from controller.errors import InputError
from tests.repo.test_layers import ROOT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
MODULES = {"opencv-python-headless": "cv2"}
"""Modules whose name differs from their package's."""


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An environment that Python runs in, with pip."""
    monkeypatch.setattr(sys, "prefix", str(tmp_path / "env"))
    monkeypatch.setattr(sys, "executable", str(tmp_path / "env" / "python"))
    monkeypatch.setattr(extras, "find_spec", lambda _: object())
    monkeypatch.setattr(extras, "WINDOWS", False)
    (tmp_path / "env").mkdir()
    return tmp_path / "env"


def test_the_modules_of_each_extra_are_those_of_its_packages() -> None:
    stated = PROJECT["optional-dependencies"]
    assert set(extras.EXTRAS) < set(stated)

    def packages(extra: str) -> set[str]:
        names = {re.split(r"[>=\[; ]", wanted, maxsplit=1)[0] for wanted in stated[extra]} - {"fullturn"}
        inner = [name for wanted in stated[extra] if wanted.startswith("fullturn[")
                 for name in wanted.split("[")[1].split("]")[0].split(",")]  # fmt: skip
        return names.union(*(packages(name) for name in inner))

    for name, extra in extras.EXTRAS.items():
        assert {MODULES.get(package, package) for package in packages(name)} == set(extra.modules)
    assert packages("all") == set.union(*(packages(name) for name in extras.EXTRAS))


@pytest.mark.parametrize("extra", extras.EXTRAS)
def test_a_missing_extra_is_refused_with_the_line_that_adds_it(extra: str, place: Path) -> None:
    extras.must_have(extra, "The work")
    for missing in extras.EXTRAS[extra].modules:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(extras, "find_spec", lambda name, missing=missing: None if name == missing else object())
            with pytest.raises(InputError) as refused:
                extras.must_have(extra, "The work")
        assert str(refused.value) == (
            f'The work needs a part that is not installed. Add it with: {place}/python -m pip install "fullturn[{extra}]"'
        )


def test_no_line_is_given_for_what_a_system_cannot_have(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(extras, "find_spec", lambda _: None)
    monkeypatch.setattr(extras, "WINDOWS", True)
    with pytest.raises(InputError, match=r"^--tether does not work on Windows: the library"):
        extras.must_have("tether", "--tether")


@pytest.mark.parametrize(("system", "python"), [("posix", "python3"), ("nt", "py")])
def test_a_clone_adds_by_its_own_script(
    system: str, python: str, place: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    clone = tmp_path / "my clone"
    clone.mkdir()
    monkeypatch.setattr(extras, "ROOT", clone)
    monkeypatch.setattr(extras, "WINDOWS", system == "nt")
    monkeypatch.setattr(sys, "prefix", str(clone / ".venv"))
    assert "start.py" not in extras.line_to_add("page")  # the script is not there
    (clone / "start.py").touch()
    assert extras.line_to_add("page") == f'{python} "{clone}/start.py" add page'


def test_each_installer_has_its_own_line(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (place / "uv-receipt.toml").touch()
    assert extras.line_to_add("page") == f'uv pip install --python {place}/python "fullturn[page]"'
    (place / "pipx_metadata.json").touch()
    assert extras.line_to_add("page") == 'pipx runpip fullturn install "fullturn[page]"'
    for mark in ("uv-receipt.toml", "pipx_metadata.json"):
        (place / mark).unlink()
    assert extras.line_to_add("page") == f'{place}/python -m pip install "fullturn[page]"'
    monkeypatch.setattr(extras, "find_spec", lambda _: None)
    assert extras.line_to_add("page") == f'python3 -m pip --python {place}/python install "fullturn[page]"'


def test_a_library_that_lacks_one_of_the_system_is_no_fault_of_the_program() -> None:
    lacking = "libglib-2.0.so.0: cannot open shared object file"
    refused = pytest.raises(InputError, match=f"^Looking up needs a part .* cannot be loaded: {lacking}.$")
    with refused, extras.importing("lenses", "Looking up"):
        raise ImportError(lacking)
