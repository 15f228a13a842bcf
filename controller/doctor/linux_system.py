"""What Linux tells of itself in /proc and /sys (proc(5), sysfs(5)); on other systems, nothing is known."""

import os
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from controller.errors import InputError
from controller.reading import FileKind, files_in, read_text
from controller.shown import shown

SYSTEM_FILE = FileKind("a file of the system", 10**6, "See that /proc is there.")
LEAST_PARTS = 3  # of a line in /proc/mounts: what, where, which kind


class LinuxSystem:
    """The system below `root`, which a test may put elsewhere."""

    def __init__(self, root: Path = Path("/")) -> None:
        self._root = root

    def text(self, name: str) -> str:
        """The text of a file of the system, without blanks around it; empty if it cannot be read."""
        try:
            return read_text(self._root / name, SYSTEM_FILE).strip()
        except InputError:
            return ""

    def entries(self, name: str) -> list[Path]:
        """The entries of a folder of the system; empty if it cannot be read."""
        try:
            return files_in(self._root / name)
        except InputError:
            return []

    def processes(self) -> Iterator[tuple[int, str]]:
        """The running programs: their numbers and names, which the system cuts at 15 characters."""
        for entry in self.entries("proc"):
            if entry.name.isdecimal():
                name = self.text(f"proc/{entry.name}/comm")
                if name:
                    yield int(entry.name), shown(name, 40)

    def holder_of(self, device: str) -> str | None:
        """The program that has a device open, as far as this user may see; None if none is seen."""
        real = os.path.realpath(device)
        for number, name in self.processes():
            for opened in self.entries(f"proc/{number}/fd"):
                with suppress(OSError):
                    if os.readlink(opened) == real:
                        return f"process {number} ({name})"
        return None

    def file_system_of(self, folder: Path) -> str:
        """The kind of the disk that a folder is on, like ext4; empty if not known."""
        real, best, kind = os.path.realpath(folder), "", ""
        for line in self.text("proc/self/mounts").splitlines():
            parts = line.split(" ")
            if len(parts) < LEAST_PARTS:
                continue
            place = parts[1].replace("\\040", " ")
            if len(place) >= len(best) and (real == place or real.startswith(f"{place.rstrip('/')}/")):
                best, kind = place, parts[2]
        return kind

    def memory_bytes(self) -> int | None:
        """The memory that programs may still take, in bytes; None if not known."""
        for line in self.text("proc/meminfo").splitlines():
            name, _, amount = line.partition(":")
            if name == "MemAvailable" and amount.split()[:1] and amount.split()[0].isdecimal():
                return int(amount.split()[0]) * 1024
        return None

    def has_lid(self) -> bool:
        """Whether the computer has a lid."""
        return bool(self.entries("proc/acpi/button/lid"))

    def battery_percents(self) -> list[int]:
        """How full each of the computer's batteries is, in percent; those of mice and the like do not count."""
        found = []
        for entry in self.entries("sys/class/power_supply"):
            place = f"sys/class/power_supply/{entry.name}"
            if self.text(f"{place}/type") == "Battery" and self.text(f"{place}/scope") != "Device":
                percent = self.text(f"{place}/capacity")
                found.append(int(percent) if percent.isdecimal() else 100)
        return found
