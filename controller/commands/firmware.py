"""The reference firmware: its targets, the tools that build and write it, and a folder of the user's to do that in."""

import re
import shutil
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import protocol
from controller.errors import InputError, WorldError
from controller.files import write_new
from controller.folders import appearing_folder, make_inner_folder
from controller.quantity import quoted
from controller.shown import shown

SOURCES = Path(protocol.__file__).parent / "board"
CORE, PROGRAM = "core", "fullturn.hex"
PARTS = ("*.c", "*.h", "*.mk", "*.ld")
STANDARD_ERROR = 2
PROGRAMMER = re.compile(r"[A-Za-z0-9][A-Za-z0-9_./-]*")


@dataclass(frozen=True, slots=True)
class BoardTarget:
    """A controller that the firmware is written for: its folder of sources, and the tools that it needs.

    `build_tools` and `flash_tool` are programs with the package that brings each, named as Debian names it.
    """

    name: str
    controller: str
    build_tools: Mapping[str, str]
    flash_tool: str
    flash_package: str
    by_port: bool


AVR = BoardTarget(
    "avr",
    "ATmega328P",
    {"make": "make", "avr-gcc": "gcc-avr and avr-libc", "avr-objcopy": "binutils-avr", "avr-size": "binutils-avr"},
    "avrdude",
    "avrdude",
    by_port=True,
)
ARM = BoardTarget(
    "arm",
    "nRF51822",
    {
        "make": "make",
        "arm-none-eabi-gcc": "gcc-arm-none-eabi and libnewlib-arm-none-eabi",
        "arm-none-eabi-objcopy": "binutils-arm-none-eabi",
        "arm-none-eabi-size": "binutils-arm-none-eabi",
    },
    "openocd",
    "openocd",
    by_port=False,
)
TARGETS: Mapping[str, BoardTarget] = {target.name: target for target in (AVR, ARM)}


def must_have_tools(tools: Mapping[str, str]) -> None:
    """Raise InputError with one sentence for each program that is not on the path, and the package that brings it."""
    lacking = {program: package for program, package in tools.items() if shutil.which(program) is None}
    if lacking:
        raise InputError(
            f"{program} is not installed. On Debian it comes with {package}." for program, package in lacking.items()
        )


def build_line(target: BoardTarget, baud: int, fitted: int | None) -> list[str]:
    """The command that builds the firmware, for the folder with the sources. `fitted` None: as the sources say."""
    extra = [] if fitted is None else [f"EXTRA=-DFITTED={fitted}"]
    return ["make", f"TARGET={target.name}", f"BAUD={baud}UL", *extra]


def build_in(folder: Path, target: BoardTarget, line: Sequence[str]) -> int:
    """Make the new folder `folder` with the sources for one target, and build the firmware there.

    Returns the size of the program's file in bytes. Nothing is left there if the build fails. Raises StorageFailed,
    WorldError.
    """
    with appearing_folder(folder) as inner:
        _copy_sources(inner, target)
        run_tool(line, inner)
        program = program_in(inner, target)
        if not program.is_file():
            raise WorldError(f"{line[0]} reported success, but made no {PROGRAM}. Install it and the compiler again.")
        return program.stat().st_size


def program_in(folder: Path, target: BoardTarget) -> Path:
    """The program that is built in such a folder, as an Intel HEX file."""
    return folder / "build" / target.name / PROGRAM


def _copy_sources(folder: Path, target: BoardTarget) -> None:
    write_new(folder / "Makefile", (SOURCES / "Makefile").read_bytes())
    for part in (CORE, target.name):
        make_inner_folder(folder / part)
        for source in sorted(path for pattern in PARTS for path in (SOURCES / part).glob(pattern)):
            write_new(folder / part / source.name, source.read_bytes())


def target_of(folder: Path) -> BoardTarget:
    """The target of a folder that `build_in` has made. Raises InputError if it is no such folder, or has no program."""
    found = [target for target in TARGETS.values() if (folder / target.name / "target.mk").is_file()]
    if len(found) != 1:
        raise InputError(f"{shown(folder)} was not made by `fullturn board build`. Build the firmware first.")
    program = program_in(folder, found[0])
    if not program.is_file():
        raise InputError(f"{shown(program)} is missing. Run make in {shown(folder)}.")
    return found[0]


def must_be_programmer(text: str) -> None:
    """Raise InputError if this cannot be a programmer's name for a tool; it becomes part of its command."""
    if PROGRAMMER.fullmatch(text) is None or ".." in text:
        raise InputError(
            f"--programmer: {quoted(text)} is not a programmer's name. Use letters, digits and - _ . / only."
        )


def flash_line(target: BoardTarget, programmer: str, programmer_port: str, programmer_baud: int) -> list[str]:
    """The command that writes the program, for the folder with the program in it."""
    if target is AVR:
        port = ["-P", programmer_port, "-b", str(programmer_baud)]
        return [target.flash_tool, "-p", "m328p", "-c", programmer, *port, "-U", f"flash:w:{PROGRAM}:i"]
    files = ["-f", f"interface/{programmer}.cfg", "-f", "target/nrf51.cfg"]
    return [target.flash_tool, *files, "-c", f"program {PROGRAM} verify reset exit"]


def run_tool(line: Sequence[str], folder: Path) -> None:
    """Run a tool in a folder; what it prints goes to standard error. Raises WorldError if it fails."""
    try:
        done = subprocess.run(line, cwd=folder, stdin=subprocess.DEVNULL, stdout=STANDARD_ERROR, check=False)
    except OSError as error:
        raise WorldError(f"{line[0]} could not be run: {error.strerror}. Install it again.") from None
    if done.returncode != 0:
        raise WorldError(f"{line[0]} failed with status {done.returncode}. Its messages above say why.")
