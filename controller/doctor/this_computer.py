"""Reads this computer for the checks. Only one small file is written, and removed again; no port is opened."""

import importlib.util
import locale
import os
import shutil
import sys
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from controller import clock
from controller.doctor.installation import OWN_NAMES, home_as_tilde, owners_of, wanted_packages
from controller.doctor.linux_system import LinuxSystem
from controller.doctor.port_checks import GRABBERS
from controller.doctor.readings import (
    ClockReading,
    ComputerReadings,
    ExtraReading,
    FolderReading,
    NamesReading,
    PortReading,
    PowerReading,
    PythonReading,
    TerminalReading,
)
from controller.errors import StorageFailed
from controller.extras import EXTRAS, ROOT, is_missing, line_to_add
from controller.files import try_folder
from controller.lock import Taken, lock_of, sole_use
from controller.session.database import SQLITE_VERSION
from controller.shown import shown
from controller.system.clock_trust import ClockSigns
from protocol.units import MS, NS

AWAKE = {"linux": "systemd-inhibit --what=sleep:idle:handle-lid-switch", "darwin": "caffeinate -i"}
IS_LINUX = sys.platform == "linux"


def read_computer(folder: Path, ports: Sequence[PortReading]) -> ComputerReadings:
    """All readings of this computer, with what was found of its ports."""
    system = LinuxSystem()
    return ComputerReadings(
        python=PythonReading(sys.version_info[:2], sys.version_info.releaselevel == "final", SQLITE_VERSION),
        names=_names(),
        packages=tuple(wanted_packages()),
        extras=tuple(
            ExtraReading(name, extra.purpose, is_missing(name), home_as_tilde(line_to_add(name)))
            for name, extra in EXTRAS.items()
        ),
        ports=tuple(ports),
        services=tuple({name for _, name in system.processes() if name in GRABBERS}),
        folder=_folder(folder, system),
        temporary=_folder(Path(tempfile.gettempdir()), system),
        lock_trouble=_lock_trouble(folder),
        clock=ClockReading(clock.wall_moment(), ClockSigns.here()),
        terminal=_terminal(),
        memory_bytes=system.memory_bytes(),
        power=_power(system),
        as_root=sys.platform != "win32" and os.geteuid() == 0,
    )


def port_reading(name: str, device: str, *, asked: bool) -> PortReading:
    """A port by its name, and the device of that name. It is not opened."""
    if "://" in device:
        return PortReading(name, exists=True, may_open=True, asked=asked, on_network=True)
    if not IS_LINUX:  # names like COM3 are no files
        return PortReading(name, exists=True, may_open=True, asked=asked)
    exists = os.path.exists(device)
    may_open = exists and os.access(device, os.R_OK | os.W_OK)
    holder = LinuxSystem().holder_of(device) if exists else None
    return PortReading(name, exists, may_open, asked, group=_group_of(device), holder=holder)


def _group_of(device: str) -> str | None:
    """The name of the group that owns a device; None if not known."""
    if sys.platform == "win32":
        return None
    import grp  # noqa: PLC0415  not on Windows

    with suppress(OSError, KeyError):
        return grp.getgrgid(os.stat(device).st_gid).gr_name
    return None


def _names() -> NamesReading:
    others = {name: tuple(each for each in found if each != "fullturn") for name, found in owners_of().items()}
    return NamesReading(others, {name: _imported_from(name) for name in OWN_NAMES}, home_as_tilde(str(ROOT)))


def _imported_from(name: str) -> str:
    """The folder that a package is imported from; empty if it is not found."""
    spec = importlib.util.find_spec(name)
    if spec is None or spec.origin is None:
        return ""
    return home_as_tilde(os.path.realpath(Path(spec.origin).parents[1]))


def _folder(folder: Path, system: LinuxSystem) -> FolderReading:
    name = home_as_tilde(shown(os.path.realpath(folder)))
    free = None
    with suppress(OSError):
        free = shutil.disk_usage(folder).free
    try:
        trial = try_folder(folder)
    except StorageFailed as error:
        reason = str(error).partition(" cannot be written: ")[2].partition(". ")[0]
        return FolderReading(name, free, reason or home_as_tilde(str(error)).rstrip("."))
    kind = system.file_system_of(folder)
    return FolderReading(name, free, None, trial.took_ns / MS, trial.time_off_ns / NS, kind)


def _lock_trouble(folder: Path) -> str | None:
    """Why a session in the folder, or a port, cannot be locked; None if both can. Nothing is left behind on Linux."""
    try:
        for what in (folder / ".fullturn-doctor", "fullturn doctor"):
            with suppress(Taken), sole_use(lock_of(what), "A trial", "fullturn doctor"):
                pass
    except StorageFailed as error:
        return home_as_tilde(str(error))
    return None


def _terminal() -> TerminalReading:
    columns = os.get_terminal_size(sys.stdout.fileno()).columns if sys.stdout.isatty() else 0
    return TerminalReading(sys.stdout.encoding or locale.getencoding(), columns, sys.getfilesystemencoding())


def _power(system: LinuxSystem) -> PowerReading:
    line = AWAKE.get(sys.platform, "")
    if line and shutil.which(line.split()[0]) is None:
        line = ""
    if not IS_LINUX:
        return PowerReading(None, None, None, line)
    percents = system.battery_percents()
    return PowerReading(system.has_lid(), bool(percents), min(percents, default=None), line)
