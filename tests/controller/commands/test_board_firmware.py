"""`fullturn board build` and `board flash`: real builds, and tools that write down how they were called."""

from __future__ import annotations

import json
import os
import shlex
import tomllib
from collections.abc import Callable
from fnmatch import fnmatch
from pathlib import Path
from types import TracebackType
from typing import Self

import pytest

from controller.capture.port import Port
from controller.commands import board_firmware, firmware
from controller.commands.stand_in import rig_spec
from controller.conformance.rules import RULES
from controller.ports.serial_port import port_alone
from sim.rig import Rig
from sim.virtual_port import VirtualPort
from tests.bench.figures import full_frame_kit
from tests.controller.commands.shell import Shell, refuses
from tests.protocol.board import build as board_build
from tests.protocol.board.arm import machine as arm
from tests.protocol.board.avr import machine as avr
from tests.protocol.board.port import MachinePort

MACHINES = {"avr": avr, "arm": arm}
PORT = ("--port", "some-port", "--programmer", "probe")
RESTING = [rule.name for rule in RULES if not rule.motion]


class Opened:
    """A port that needs no opening, in place of a `SerialPort`."""

    def __init__(self, port: Port) -> None:
        self._port = port
        self.now, self.write, self.wait_bytes = port.now, port.write, port.wait_bytes

    def reopen(self) -> None:
        """The line is never lost."""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        """Nothing to close."""


class Tools:
    """Programs on the path that write down their arguments and do what a line of shell says."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self._folder = folder
        folder.mkdir()
        monkeypatch.setenv("PATH", f"{folder}{os.pathsep}{os.environ['PATH']}")

    def add(self, name: str, does: str = "true") -> None:
        path = self._folder / name
        path.write_text(f'#!/bin/sh\nprintf "%s\\n" "$PWD" "$@" > {shlex.quote(str(path))}.called\n{does}\n', "utf-8")
        path.chmod(0o755)

    def called(self, name: str) -> list[str] | None:
        """The folder in which a program was called, and its arguments; None if it was not."""
        path = self._folder / f"{name}.called"
        return path.read_text(encoding="utf-8").splitlines() if path.exists() else None


@pytest.fixture
def tools(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Tools:
    return Tools(tmp_path_factory.mktemp("path") / "bin", monkeypatch)


@pytest.fixture
def opens(monkeypatch: pytest.MonkeyPatch) -> Callable[[Callable[[], Port]], list[tuple[str, int]]]:
    """Say what is behind the port; returns a list that grows with each opening."""

    def behind(make: Callable[[], Port]) -> list[tuple[str, int]]:
        opened: list[tuple[str, int]] = []

        def open_port(url: str, baud: int) -> Opened:
            opened.append((url, baud))
            return Opened(make())

        monkeypatch.setattr(board_firmware, "SerialPort", open_port)
        return opened

    return behind


def simulated() -> Port:
    return VirtualPort(Rig(rig_spec(full_frame_kit(24), 1)))


class Silent:
    """A port at which nothing answers."""

    def __init__(self) -> None:
        self._now = 0

    def now(self) -> int:
        return self._now

    def reopen(self) -> None:
        """The line is never lost."""

    def write(self, _: bytes) -> None:
        """Nobody listens."""

    def wait_bytes(self, deadline_ns: int | None) -> bytes:
        assert deadline_ns is not None
        self._now = max(self._now, deadline_ns)
        return b""


def built_folder(shell: Shell, target: str = "avr") -> Path:
    """A folder as `board build` makes it, without a compiler."""
    folder = shell.folder / "firmware"
    (folder / "build" / target).mkdir(parents=True)
    (folder / target).mkdir()
    (folder / target / "target.mk").touch()
    (folder / "build" / target / "fullturn.hex").write_text(":00000001FF\n", encoding="utf-8")
    return folder


@pytest.mark.parametrize("target", ["avr", "arm"])
def test_the_whole_story(
    target: str, shell: Shell, tools: Tools, opens: Callable[..., list[tuple[str, int]]], tmp_path: Path
) -> None:
    """Build the firmware, write it into the simulated controller with a stand-in for the tool, and see it work."""
    board_build.need(MACHINES[target].tools_lacking())
    told = shell("board", "build", "--target", target, "--out", "my firmware", "--json")
    assert told.status == 0, told
    built = json.loads(told.out)
    folder = shell.folder / "my firmware"
    assert f"copy of the sources: make TARGET={target} BAUD=115200UL" in told.err
    assert built["program"] == f"my firmware/build/{target}/fullturn.hex"
    assert built["command"] == f"make TARGET={target} BAUD=115200UL"
    assert {path.name for path in folder.iterdir()} == {"Makefile", "core", target, "build"}
    assert built["file_bytes"] == (folder / "build" / target / "fullturn.hex").stat().st_size > 20_000
    flashed, folder_of_machine = tmp_path / "flashed.hex", tmp_path / "machine"
    folder_of_machine.mkdir()
    tool = firmware.TARGETS[target].flash_tool
    tools.add(tool, f"cp fullturn.hex {shlex.quote(str(flashed))}")
    boards: list[avr.Machine | arm.Machine] = []

    def start() -> Port:
        """The controller, with the program that was written to it."""
        elf = folder / "build" / target / "fullturn.elf"
        if target == "arm":
            boards.append(arm.Machine(arm.firmware_of(elf, flashed), folder_of_machine))
        else:
            made = avr.firmware_of(elf, folder_of_machine, program=flashed)
            boards.append(avr.Machine(avr.load(made), made))
        return MachinePort(boards[0])

    opened = opens(start)
    try:
        told = shell("board", "flash", "my firmware", *PORT, "--yes", "--countdown", "0")
    finally:
        for board in boards:
            board.stop()
    assert told.status == 0, told
    assert opened == [("some-port", 115_200)]
    kept = [line.split()[1].rstrip(":") for line in told.out.splitlines() if line.startswith("kept")]
    assert kept == RESTING
    assert "The firmware works: boot " in told.out
    assert "version 1.2" in told.out
    assert "support the camera" in told.err


def test_avrdude_gets_its_options(shell: Shell, tools: Tools, opens: Callable[..., list[tuple[str, int]]]) -> None:
    folder = built_folder(shell)
    tools.add("avrdude")
    opened = opens(simulated)
    told = shell("board", "flash", "firmware", *PORT, "--programmer-baud", "57600", "--yes", "--countdown", "0", "--json")
    assert told.status == 0, told
    options = "-p m328p -c probe -P some-port -b 57600 -U flash:w:fullturn.hex:i"
    assert tools.called("avrdude") == [str(folder / "build/avr"), *options.split()]
    assert f"avrdude {options}\n" in told.err
    assert told.err.index("Switch the motor supply off") < told.err.index("avrdude")
    result = json.loads(told.out)
    assert result["works"] is True
    assert [rule["rule"] for rule in result["rules"]] == RESTING
    assert opened == [("some-port", 115_200)]
    assert shell("board", "flash", "firmware", *PORT, "--programmer-port", "usb", "--yes", "--countdown", "0").status == 0
    called = tools.called("avrdude")
    assert called is not None
    assert called[6] == "usb"


def test_openocd_gets_its_options(shell: Shell, tools: Tools, opens: Callable[..., list[tuple[str, int]]]) -> None:
    folder = built_folder(shell, "arm")
    tools.add("openocd")
    opens(simulated)
    assert shell("board", "flash", "firmware", *PORT, "--yes", "--countdown", "0").status == 0
    options = ["-f", "interface/probe.cfg", "-f", "target/nrf51.cfg", "-c", "program fullturn.hex verify reset exit"]
    assert tools.called("openocd") == [str(folder / "build/arm"), *options]
    (sentence,) = refuses(shell, 2, "board", "flash", "firmware", *PORT, "--programmer-port", "COM3", "--yes")
    assert sentence.endswith("--programmer-port COM3: openocd finds the debug adapter by itself.")


def test_nothing_is_written_without_a_yes(
    shell: Shell, tools: Tools, opens: Callable[..., list[tuple[str, int]]]
) -> None:
    built_folder(shell)
    tools.add("avrdude")
    opened = opens(simulated)
    told = shell("board", "flash", "firmware", *PORT)
    assert (told.status, told.out) == (1, "")
    assert told.err.endswith("Nothing was written. To write it without a question, add --yes.\n")
    assert (tools.called("avrdude"), opened) == (None, [])


def test_a_tool_that_fails_is_named(shell: Shell, tools: Tools, opens: Callable[..., list[tuple[str, int]]]) -> None:
    built_folder(shell)
    tools.add("avrdude", "exit 3")
    opened = opens(simulated)
    told = shell("board", "flash", "firmware", *PORT, "--yes")
    assert (told.status, told.out, opened) == (1, "", [])
    assert told.err.endswith("avrdude failed with status 3. Its messages above say why.\n")


def test_a_board_that_stays_silent(shell: Shell, tools: Tools, opens: Callable[..., list[tuple[str, int]]]) -> None:
    built_folder(shell)
    tools.add("avrdude")
    opens(Silent)
    told = shell("board", "flash", "firmware", *PORT, "--yes", "--countdown", "0")
    assert told.status == 1
    assert told.err.splitlines()[-1].startswith("The program was written, but nothing answers as a board at this port;")


def test_an_older_program_is_noticed(
    shell: Shell, tools: Tools, opens: Callable[..., list[tuple[str, int]]], monkeypatch: pytest.MonkeyPatch
) -> None:
    built_folder(shell)
    tools.add("avrdude")
    opens(simulated)
    monkeypatch.setattr(board_firmware, "PROTOCOL_VERSION", (1, 9))
    told = shell("board", "flash", "firmware", *PORT, "--yes", "--countdown", "0")
    assert told.status == 1
    assert "answers with version 1.2 of the protocol, the firmware has 1.9: another program is running." in told.out


def test_a_port_in_use_is_left_alone(shell: Shell, tools: Tools) -> None:
    built_folder(shell)
    tools.add("avrdude")
    with port_alone("some-port", "capture"):
        told = shell("board", "flash", "firmware", *PORT, "--yes")
    assert told.status == 1
    assert "(capture)" in told.err
    assert tools.called("avrdude") is None


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--port", "socket://there:7000", "--programmer", "probe"), "avrdude cannot use socket://there:7000."),
        (("--port", "some-port", "--programmer", "-c"), "'-c' is not a programmer's name."),
        (("--port", "some-port", "--programmer", "a/../../b"), "'a/../../b' is not a programmer's name."),
    ],
)
def test_what_flash_refuses(shell: Shell, tools: Tools, words: tuple[str, ...], sentence: str) -> None:
    built_folder(shell)
    tools.add("avrdude")
    assert sentence in "\n".join(refuses(shell, 2, "board", "flash", "firmware", *words, "--yes"))


def test_a_folder_without_a_program(shell: Shell) -> None:
    (shell.folder / "other").mkdir()
    (sentence,) = refuses(shell, 2, "board", "flash", "other", *PORT)
    assert "other was not made by `fullturn board build`." in sentence
    (built_folder(shell) / "build/avr/fullturn.hex").unlink()
    (sentence,) = refuses(shell, 2, "board", "flash", "firmware", *PORT)
    assert "fullturn.hex is missing. Run make in firmware." in sentence


def test_missing_tools_are_named_with_their_packages(
    shell: Shell, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    built_folder(shell)
    monkeypatch.setenv("PATH", str(tmp_path / "nowhere"))
    sentences = refuses(shell, 2, "board", "build", "--target", "arm", "--out", "new")
    assert "make is not installed. On Debian it comes with make." in sentences[0]
    assert any("arm-none-eabi-gcc is not installed" in sentence for sentence in sentences)
    (sentence,) = refuses(shell, 2, "board", "flash", "firmware", *PORT)
    assert sentence.endswith("avrdude is not installed. On Debian it comes with avrdude.")


@pytest.mark.parametrize(
    ("does", "sentence"),
    [
        ("exit 2", "make failed with status 2. Its messages above say why."),
        ("true", "make reported success, but made no fullturn.hex. Install it and the compiler again."),
    ],
)
def test_a_build_that_fails_leaves_nothing(shell: Shell, tools: Tools, does: str, sentence: str) -> None:
    for name in firmware.AVR.build_tools:
        tools.add(name)
    tools.add("make", does)
    assert refuses(shell, 1, "board", "build", "--out", "new")[1:] == [sentence]


def test_what_a_head_lacks_is_left_out(shell: Shell, tools: Tools) -> None:
    for name in firmware.AVR.build_tools:
        tools.add(name)
    tools.add("make", "mkdir -p build/avr; echo :00000001FF > build/avr/fullturn.hex")
    lacks = ("--without", "pan-switch", "--without", "half-press")
    told = shell("board", "build", "--out", "new", "--baud", "250000", *lacks)
    assert told.status == 0, told
    called = tools.called("make")
    assert called is not None
    assert called[1:] == ["TARGET=avr", "BAUD=250000UL", "EXTRA=-DFITTED=5"]
    assert "Write it with `fullturn board flash new`." in told.out


def test_the_constants_are_those_of_the_sources() -> None:
    text = (firmware.SOURCES / "core" / "message.h").read_text(encoding="utf-8")
    for name, flag in board_firmware.FITTED.items():
        short = name.removesuffix("-contact").replace("-", "_").upper()
        assert f"#define FITTED_{short} {int(flag)}\n" in text


def test_the_installed_package_has_all_sources() -> None:
    settings = tomllib.loads((board_build.ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    shipped = settings["tool"]["setuptools"]["package-data"]["protocol"]
    for pattern in ("Makefile", *firmware.PARTS):
        assert any(fnmatch(pattern.replace("*", "name"), each.rpartition("/")[2]) for each in shipped), pattern
    copied = {path.suffix for name in ("core", *firmware.TARGETS) for path in (firmware.SOURCES / name).iterdir()}
    assert copied == {pattern.removeprefix("*") for pattern in firmware.PARTS}
