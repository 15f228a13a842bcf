"""What is installed: the program, its packages and extras, and where it was installed from."""

import platform
import re
import sys
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

from packaging.requirements import Requirement
from packaging.version import InvalidVersion

from controller.extras import EXTRAS, ROOT

NAME = "fullturn"
OWN_NAMES = ("controller", "protocol", "sim")
"""The folders that the program puts beside everybody else's packages."""


@dataclass(frozen=True, slots=True)
class InstalledPackage:
    """A package that the program wants: its version (None if it is not installed), and which versions are wanted.

    `extra` is the optional part that wants it, empty for the core. `wanted` is empty for any version.
    """

    name: str
    version: str | None
    wanted: str
    extra: str = ""

    @property
    def fits(self) -> bool:
        """Whether it is installed in a version that is wanted."""
        if self.version is None:
            return False
        with suppress(InvalidVersion):
            return Requirement(f"{self.name}{self.wanted}").specifier.contains(self.version, prereleases=True)
        return False


@dataclass(frozen=True, slots=True)
class InstalledFrom:
    """How the program was installed (a clone, pipx, uv tool, an environment, the system's Python), and the folder."""

    how: str
    folder: str


def wanted_packages() -> list[InstalledPackage]:
    """The packages that the program wants on this system, those of the core first; empty if nothing says which."""
    try:
        texts = metadata.requires(NAME) or []
    except metadata.PackageNotFoundError:
        return []
    found = [one for extra in ("", *EXTRAS) for one in _wanted_by(texts, extra)]
    return list({(one.name, one.extra): one for one in found}.values())


def _wanted_by(texts: list[str], extra: str) -> Iterator[InstalledPackage]:
    for text in texts:
        wanted = Requirement(text)
        marker = str(wanted.marker) if wanted.marker is not None else ""
        is_for_extra = bool(re.search(r"\bextra\b", marker))
        if is_for_extra is not bool(extra) or wanted.name == NAME:
            continue
        if wanted.marker is None or wanted.marker.evaluate({"extra": extra}):
            yield InstalledPackage(wanted.name, version_of_package(wanted.name), str(wanted.specifier), extra)


def version_of_package(name: str) -> str | None:
    """The version of a package; None if it is not installed."""
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return None


def installed_from() -> InstalledFrom:
    """How this program was installed, and where."""
    here = Path(sys.prefix)
    if (ROOT / "start.py").exists():
        return InstalledFrom("a clone", home_as_tilde(str(ROOT)))
    if (here / "pipx_metadata.json").exists():
        how = "pipx"
    elif (here / "uv-receipt.toml").exists():
        how = "uv tool"
    else:
        how = "an environment" if sys.prefix != sys.base_prefix else "the system's Python"
    return InstalledFrom(how, home_as_tilde(str(here)))


def home_as_tilde(text: str) -> str:
    """A text with the home folder as ~, because its name is often that of a person."""
    try:
        home = str(Path.home())
    except RuntimeError:  # nobody's home is known
        return text
    if len(home) <= 1:
        return text
    return re.sub(rf"{re.escape(home)}(?![\w.-])", "~", text)


def owners_of(names: tuple[str, ...] = OWN_NAMES) -> dict[str, list[str]]:
    """The installed distributions that bring each of these names."""
    brought = metadata.packages_distributions()
    return {name: sorted(set(brought.get(name, []))) for name in names}


def system_words() -> str:
    """The operating system in words: its name and version."""
    with suppress(OSError):
        return platform.freedesktop_os_release()["PRETTY_NAME"]
    return f"{platform.system()} {platform.release()}".strip()
