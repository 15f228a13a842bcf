"""What was read of this computer, as plain values: the checks know nothing else, so a test can give them anything."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from controller.doctor.installation import InstalledPackage
from controller.system.clock_trust import ClockSigns


@dataclass(frozen=True, slots=True)
class PythonReading:
    """Python's version, whether it is a finished release, and the version of its SQLite."""

    version: tuple[int, int]
    finished: bool
    sqlite: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class NamesReading:
    """For each of the program's three folder names: who else brings it, and the folder that it is imported from."""

    others: Mapping[str, tuple[str, ...]]
    imported_from: Mapping[str, str]
    ours: str


@dataclass(frozen=True, slots=True)
class ExtraReading:
    """An optional part: what it is for, whether a module of it is missing, and the line that adds it."""

    name: str
    purpose: str
    missing: bool
    line: str


@dataclass(frozen=True, slots=True)
class PortReading:
    """A serial port. `group` owns it, `holder` is the program that has it open; both None if not known.

    `asked`: it was named by --port. A port on a network is not looked for.
    """

    name: str
    exists: bool
    may_open: bool
    asked: bool = False
    on_network: bool = False
    group: str | None = None
    holder: str | None = None


@dataclass(frozen=True, slots=True)
class FolderReading:
    """A folder that files are written to. `trouble` says why none can be; then the other values are not known.

    `durable_ms` is how long a small file took to reach the disk, `time_off_s` how wrong the time of a file is.
    `file_system` is its name for the system, like ext4; empty if not known.
    """

    name: str
    free_bytes: int | None = None
    trouble: str | None = None
    durable_ms: float = 0.0
    time_off_s: float = 0.0
    file_system: str = ""


@dataclass(frozen=True, slots=True)
class ClockReading:
    """The time of day in UTC, and what the system says of its clock."""

    now: datetime
    signs: ClockSigns


@dataclass(frozen=True, slots=True)
class TerminalReading:
    """Where the program prints to. `columns` is 0 if that is no terminal."""

    encoding: str
    columns: int
    file_names: str


@dataclass(frozen=True, slots=True)
class PowerReading:
    """Whether the computer has a lid and a battery (None: not known), and how full the battery is in percent."""

    has_lid: bool | None
    has_battery: bool | None
    percent: int | None
    awake_line: str
    """The line that keeps the computer awake for as long as a command runs."""


@dataclass(frozen=True, slots=True)
class ComputerReadings:
    """All readings. `services` are running programs that may take a port; `memory_bytes` is free, None if not known."""

    python: PythonReading
    names: NamesReading
    packages: tuple[InstalledPackage, ...]
    extras: tuple[ExtraReading, ...]
    ports: tuple[PortReading, ...]
    services: tuple[str, ...]
    folder: FolderReading
    temporary: FolderReading
    lock_trouble: str | None
    clock: ClockReading
    terminal: TerminalReading
    memory_bytes: int | None
    power: PowerReading
    as_root: bool
