"""Locked versions meet pyproject.toml, agree with each other, have hashes, and name no host; pip checks the hashes."""

from __future__ import annotations

import hashlib
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

import start
from tests.repo.locks import BLOCK, EXTRAS, LOCKS, PROJECT

NAMES = ("build", "core", *EXTRAS)


def blocks(name: str) -> list[str]:
    """The packages of a file, each with its hashes."""
    return BLOCK.findall((LOCKS / f"{name}.txt").read_text(encoding="utf-8").partition("\n")[2])


def pins(name: str) -> dict[str, set[str]]:
    """Versions by package; a package may have several, for different systems."""
    found: dict[str, set[str]] = {}
    for block in blocks(name):
        package, version = block.split(";")[0].split()[0].split("==")
        found.setdefault(package, set()).add(version)
    return found


def wanted(extra: str) -> list[Requirement]:
    """What the project states for an extra, with the extras in it; "core" and "build" are no extras."""
    stated = {"core": PROJECT["project"]["dependencies"], "build": PROJECT["build-system"]["requires"]}
    found = []
    for text in stated.get(extra) or PROJECT["project"]["optional-dependencies"][extra]:
        one = Requirement(text)
        found += [each for inner in one.extras for each in wanted(inner)] if one.name == "fullturn" else [one]
    return found


@pytest.mark.parametrize("name", NAMES)
def test_what_the_project_states_is_locked(name: str) -> None:
    locked = pins("core") | pins(name) if name != "build" else pins(name)
    for one in wanted(name):
        versions = locked[canonicalize_name(one.name)]
        assert all(one.specifier.contains(version, prereleases=True) for version in versions), one


@pytest.mark.parametrize("name", NAMES)
def test_every_version_has_hashes_and_no_host_is_named(name: str) -> None:
    assert blocks(name)
    assert all(re.search(r"==\S+.*\n    --hash=sha256:[0-9a-f]{64}", block) for block in blocks(name))
    assert "//" not in (LOCKS / f"{name}.txt").read_text(encoding="utf-8")


def test_all_files_come_from_one_search() -> None:
    together: dict[str, set[str]] = {}
    for name in NAMES[1:]:
        for package, versions in pins(name).items():
            assert together.setdefault(package, versions) == versions
    assert {path.stem for path in LOCKS.glob("*.txt")} == set(NAMES)


def wheel(folder: Path) -> Path:
    """A package that has nothing in it."""
    path, info = folder / "empty-1.0-py3-none-any.whl", "empty-1.0.dist-info"
    with zipfile.ZipFile(path, "w") as file:
        file.writestr(f"{info}/METADATA", "Metadata-Version: 2.1\nName: empty\nVersion: 1.0\n")
        file.writestr(f"{info}/WHEEL", "Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n")
        file.writestr(f"{info}/RECORD", "")
    return path


@pytest.mark.long
@pytest.mark.parametrize("right", [True, False])
def test_a_file_with_another_hash_is_refused(right: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    outside = str(getattr(sys, "_base_executable", sys.executable))  # the environment of the tests has no pip
    if subprocess.run([outside, "-m", "pip", "--version"], capture_output=True, check=False).returncode:
        pytest.skip("The Python that made this environment has no pip.")
    locks, done = tmp_path / "locks", list[list[str]]()
    locks.mkdir()
    digest = hashlib.sha256(wheel(tmp_path).read_bytes()).hexdigest() if right else 64 * "0"
    (locks / "core.txt").write_text(f"empty==1.0 --hash=sha256:{digest}\n")

    def run(command: list[str], **_: str) -> None:
        done.append(command)
        if "--editable" not in command and "--target" not in command:
            subprocess.run([*command, "--no-index", "--find-links", str(tmp_path), "--dry-run"], check=True)

    monkeypatch.setattr(start, "LOCKS", locks)
    monkeypatch.setattr(start, "PYTHON", Path(sys.executable))
    monkeypatch.setattr(start, "run", run)
    monkeypatch.setattr(sys, "executable", outside)
    if right:
        start.install(set())
        assert len(done) == 3
    else:
        with pytest.raises(subprocess.CalledProcessError):
            start.install(set())


def test_an_unknown_extra_is_refused_with_those_there_are(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match=r"^There is no extra lens\. There are: report, lenses, page,"):
        start.prepare("[lens]")
