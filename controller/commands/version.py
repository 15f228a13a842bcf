"""`fullturn version`: what is installed, for a report of trouble. Nothing in it is personal."""

import platform
import sys
from dataclasses import asdict, dataclass
from typing import Any

from controller import __version__
from controller.calibration import records
from controller.doctor.installation import (
    InstalledFrom,
    InstalledPackage,
    installed_from,
    system_words,
    wanted_packages,
)
from controller.extras import EXTRAS, is_missing
from controller.planning import plan, plan_versions
from controller.session import migrations
from controller.session.database import SQLITE_VERSION
from controller.setup import progress
from protocol.codec import PROTOCOL_VERSION


@dataclass(frozen=True, slots=True)
class InstalledVersions:
    """The versions of everything that is installed. `formats` are the oldest and newest version that can be read."""

    fullturn: str
    python: str
    machine: str
    system: str
    kernel: str
    sqlite: str
    installed: InstalledFrom
    packages: list[InstalledPackage]
    extras: dict[str, bool]
    formats: dict[str, tuple[int, int]]
    protocol: tuple[int, int]

    @property
    def boards(self) -> str:
        """The versions of the protocol that a board's firmware may speak."""
        major, minor = self.protocol
        return f"{major}.0 to {major}.{minor}" if minor else f"{major}.0"

    def as_json(self) -> dict[str, Any]:
        """As the value that --json prints."""
        return {
            "fullturn": self.fullturn,
            "python": self.python,
            "system": self.system,
            "kernel": self.kernel,
            "machine": self.machine,
            "sqlite": self.sqlite,
            "installed": asdict(self.installed),
            "packages": [asdict(each) for each in self.packages],
            "extras": self.extras,
            "formats": {name: {"oldest": oldest, "newest": new} for name, (oldest, new) in self.formats.items()},
            "protocol": ".".join(map(str, self.protocol)),
            "firmware": {"protocol": self.boards},
        }

    def text(self) -> str:
        """As lines for people."""
        there = {each.name: each.version for each in self.packages if each.version is not None}
        extras = [name for name, is_there in self.extras.items() if is_there]
        rows = {
            "Fullturn": f"{self.fullturn}, from {self.installed.how} in {self.installed.folder}",
            "Python": f"{self.python} on {self.system} ({self.machine}, {self.kernel})",
            "SQLite": self.sqlite,
            "Extras": ", ".join(extras) or "none",
            "Packages": ", ".join(f"{name} {version}" for name, version in sorted(there.items())) or "not known",
            "Formats": ", ".join(f"{name} {new}" for name, (_, new) in self.formats.items()),
            "Protocol": f"{'.'.join(map(str, self.protocol))}; boards with {self.boards}",
        }
        width = max(map(len, rows))
        return "\n".join(f"{name:{width}}  {value}" for name, value in rows.items())


def version_command(devices_version: int) -> InstalledVersions:
    """What is installed here. `devices_version` is that of the page's list of devices, which this room may not import."""
    python = platform.python_version()
    if sys.implementation.name != "cpython":
        python = f"{python} ({platform.python_implementation()})"
    return InstalledVersions(
        fullturn=__version__,
        python=python,
        machine=platform.machine(),
        system=system_words(),
        kernel=f"{platform.system()} {platform.release()}",
        sqlite=".".join(map(str, SQLITE_VERSION)),
        installed=installed_from(),
        packages=wanted_packages(),
        extras={name: not is_missing(name) for name in EXTRAS},
        formats={
            "session": (migrations.OLDEST_VERSION, migrations.SESSION_VERSION),
            "plan": (plan_versions.OLDEST_VERSION, plan.FORMAT_VERSION),
            "calibration": (records.OLDEST_VERSION, records.FORMAT_VERSION),
            "setup": (progress.FORMAT_VERSION, progress.FORMAT_VERSION),
            "devices": (devices_version, devices_version),
        },
        protocol=(PROTOCOL_VERSION.major, PROTOCOL_VERSION.minor),
    )
