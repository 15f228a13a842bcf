"""The files of `fullturn install-service` as texts: a systemd service for the page, and a udev rule for the board's port.

Their forms are those of systemd.service(5), systemd.exec(5) and udev(7). Each begins with a digest of the rest, so that a
file that somebody has changed is known, and kept.
"""

import hashlib
import re
import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from controller.errors import InputError
from controller.reading import FileKind, read_text

SERVICE = "fullturn-page.service"
RULE = Path("/etc/udev/rules.d/70-fullturn-board.rules")
"""Before 73-seat-late.rules, which gives the ports with the tag `uaccess` to whoever sits at the computer."""
BOARD = "/dev/fullturn-board"
SYSTEM_UNITS = Path("/etc/systemd/system")
SERVICE_FILE = FileKind("a file of `fullturn install-service`", 10**5, "Move it away.")
MARK = "# Written by `fullturn install-service`; `--undo` removes it while it is unchanged. Digest: "
PLAIN = re.compile(r"[A-Za-z0-9_.:+=/-]")  # what a value of a rule may have as it is

# The system call adjtimex tells whether the clock is set; without a capability it sets nothing.
RESTRICTED = """\
NoNewPrivileges=yes
LockPersonality=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
SystemCallArchitectures=native
RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6 AF_NETLINK
RestrictNamespaces=yes
SystemCallFilter=@system-service adjtimex
SystemCallErrorNumber=EPERM
UMask=0022
"""
# Only the system's own manager can do these without namespaces of users, which some systems forbid.
RESTRICTED_BY_SYSTEM = """\
CapabilityBoundingSet=
ProtectSystem=strict
ProtectHome=read-only
ReadWritePaths={folder} /tmp
ProtectKernelModules=yes
ProtectKernelTunables=yes
ProtectKernelLogs=yes
ProtectControlGroups=yes
ProtectHostname=yes
"""
UNIT = """\
[Unit]
Description=Fullturn: the page of {described}
StartLimitIntervalSec=0

[Service]
Type=exec
ExecStart={start}
WorkingDirectory={folder_line}
{user}Restart=on-failure
RestartSec=15
RestartPreventExitStatus=2
# A run is a process of its own: it goes on while the page is stopped, restarted or short of memory.
KillMode=process
OOMPolicy=continue
TimeoutStopSec=30
CacheDirectory=fullturn
Environment=MPLCONFIGDIR=%C/fullturn PYTHONUNBUFFERED=1
{restricted}
[Install]
WantedBy={wanted_by}
"""


@dataclass(frozen=True, slots=True)
class UsbAdapter:
    """A USB serial adapter: its device, its vendor and product numbers, and its serial number if it has one."""

    device: str
    vendor: int
    product: int
    serial_number: str | None


@dataclass(frozen=True, slots=True)
class PageService:
    """What the service serves. `owner` is the user that it runs as if the system starts it, None for the user's own."""

    python: str
    folder: Path
    port: str | None
    lan: bool
    port_number: int
    owner: str | None = None

    @property
    def words(self) -> list[str]:
        """The command line that the service runs."""
        words = [self.python, "-P", "-m", "controller", "page", str(self.folder)]
        words += ["--port", self.port] if self.port else []
        words += ["--port-number", str(self.port_number)]
        return [*words, "--lan"] if self.lan else words


def unit_text(service: PageService) -> str:
    """The service as a unit of systemd, marked. Raises InputError for a folder that no unit can name."""
    folder = str(service.folder)
    if not folder.isprintable():
        raise InputError(f"{folder!r}: a service cannot name this folder. Give it a name of printable characters.")
    restricted, owner = RESTRICTED, service.owner
    if owner is not None:
        restricted += RESTRICTED_BY_SYSTEM.format(folder=unit_word(folder))
    return marked(
        UNIT.format(
            described=folder.replace("%", "%%"),
            start=" ".join(unit_word(word, command=True) for word in service.words),
            folder_line=folder.replace("%", "%%"),
            user="" if owner is None else f"User={owner}\nSupplementaryGroups=dialout\n",
            restricted=restricted,
            wanted_by="default.target" if owner is None else "multi-user.target",
        )
    )


def unit_word(word: str, *, command: bool = False) -> str:
    """One word of a line in a unit: quoted, and with its specifiers, and in a `command` its variables, escaped."""
    escaped = word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%")
    return f'"{escaped.replace("$", "$$") if command else escaped}"'


def rule_text(adapter: UsbAdapter) -> str:
    """The rule that gives the adapter its lasting name, marked. Without a serial number it fits all of its kind."""
    serial = "".join(each if PLAIN.fullmatch(each) else "?" for each in adapter.serial_number or "")
    matches = [
        'SUBSYSTEM=="tty"',
        f'ATTRS{{idVendor}}=="{adapter.vendor:04x}"',
        f'ATTRS{{idProduct}}=="{adapter.product:04x}"',
    ]
    matches += [f'ATTRS{{serial}}=="{serial}"'] if serial else []
    does = [f'SYMLINK+="{Path(BOARD).name}"', 'GROUP="dialout"', 'MODE="0660"', 'TAG+="uaccess"']
    # A modem manager would write to the board whenever it is plugged in.
    does.append('ENV{ID_MM_DEVICE_IGNORE}="1"')
    return marked(", ".join([*matches, *does]) + "\n")


def marked(text: str) -> str:
    """A text with its digest before it."""
    return f"{MARK}{_digest(text)}\n{text}"


def is_own_file(path: Path) -> bool:
    """Whether `install-service` wrote this file, and nobody has changed it since."""
    try:
        first, _, rest = read_text(path, SERVICE_FILE).partition("\n")
    except InputError:
        return False
    return first == f"{MARK}{_digest(rest)}"


def has_text(path: Path, text: str) -> bool:
    """Whether a file has this text already."""
    try:
        return read_text(path, SERVICE_FILE) == text
    except InputError:
        return False


def line_to_write(path: Path, text: str) -> str:
    """A line of a shell that writes a file as root."""
    lines = " ".join(shlex.quote(line) for line in text.splitlines())
    return f"printf '%s\\n' {lines} | sudo tee {shlex.quote(str(path))}"


def as_line(words: Sequence[str]) -> str:
    """Words as a line of a shell."""
    return shlex.join(words)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:16]
