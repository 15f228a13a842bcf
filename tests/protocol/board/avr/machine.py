"""The firmware on a simulated ATmega328P, driven like the core: bytes and milliseconds in, bytes out."""

from __future__ import annotations

from ctypes import CDLL, c_char_p, c_int32, c_uint8, c_uint32, c_uint64, create_string_buffer
from dataclasses import dataclass
from pathlib import Path

from tests.protocol.board import build
from tests.protocol.board.pins import Input

F_CPU = 16_000_000
CYCLES_PER_MS = F_CPU // 1000
BAUD = 115_200
BYTE_US = 10 / BAUD * 1e6
BOOT_MS = 20  # the boot id is first written to the EEPROM
HERE = Path(__file__).resolve().parent
FIRMWARE = build.ROOT / "protocol" / "board"
SIMAVR_HEADERS = Path("/usr/include/simavr")
DATA_SPACE = 0x800000  # the linker's address of RAM
RAM_BYTES = 2048
POWER_ON_FLAG, RESET_PIN_FLAG, BROWN_OUT_FLAG, WATCHDOG_FLAG = 1, 2, 4, 8
"""Bits of MCUSR; ATmega328P data sheet, section "MCUSR - MCU Status Register"."""
TAKEN_AT_ONCE = 65536
INPUTS = {
    Input.PAN_LIMIT: ("C", 2, True),
    Input.TILT_LIMIT: ("C", 3, True),
    Input.SYNC: ("C", 4, False),
    Input.STOP_SWITCH: ("D", 2, True),
}
"""The pin of each input, and its level when the input is on."""
MOST_EDGES = 400_000


@dataclass(frozen=True, slots=True)
class Firmware:
    """The built firmware: the program, its sizes, and the addresses of things in its RAM."""

    elf: Path
    harness: Path
    flash_bytes: int
    ram_bytes: int
    late_ticks_at: int
    data_end: int
    baud: int


def tools_lacking() -> str | None:
    """What is missing for the build and how to get it; None if nothing is."""
    packages = "gcc-avr, avr-libc, make, libsimavr-dev and a C compiler"
    lack = build.lacking(["cc", "make", "avr-gcc", "avr-objcopy", "avr-nm", "avr-size"], packages)
    if lack is not None:
        return lack
    for compiler, *flags, header in (
        ("avr-gcc", "-mmcu=atmega328p", "avr/io.h"),
        ("cc", "-isystem", str(SIMAVR_HEADERS), "sim_avr.h"),
    ):
        if not build.has_header(compiler, *flags, header=header):
            return f"{header} not found: install {packages} to test the firmware"
    return None


def build_firmware(folder: Path, baud: int = BAUD, *options: str) -> Firmware:
    """Build firmware and harness; `options` in the form that make accepts."""
    build.run("make", "-C", FIRMWARE, "TARGET=avr", f"OUT={folder}", f"BAUD={baud}UL", *options)
    return firmware_of(folder / "fullturn.elf", folder, baud)


def firmware_of(elf: Path, folder: Path, baud: int = BAUD, *, program: Path | None = None) -> Firmware:
    """A firmware that was built, with a harness made in `folder`. `program`: the file that was written to the controller,
    in place of the linker's, which then only tells sizes and addresses.
    """
    harness = folder / "harness.so"
    flags = (*build.WARNINGS, "-O2", "-shared", "-fPIC", "-isystem", SIMAVR_HEADERS)
    build.run("cc", *flags, HERE / "harness.c", "-o", harness, "-lsimavr", "-lutil")
    sizes = build.run("avr-size", elf).splitlines()[1].split()
    text, data, bss = (int(size) for size in sizes[:3])
    symbols = {line.split()[2]: int(line.split()[0], 16) for line in build.run("avr-nm", elf).splitlines()}
    late_ticks_at, data_end = symbols["clock_late_ticks"] - DATA_SPACE, symbols["_end"] - DATA_SPACE
    if program is not None:
        elf = folder / "written.elf"
        build.run("avr-objcopy", "-I", "ihex", "-O", "elf32-avr", "--rename-section", ".sec1=.text", program, elf)
    return Firmware(elf, harness, text + data, data + bss, late_ticks_at, data_end, baud)


def load(firmware: Firmware) -> CDLL:
    """Load the harness and give ctypes its argument and return types."""
    library = CDLL(str(firmware.harness))
    library.harness_start.argtypes = [c_char_p, c_uint32, c_int32, c_int32, c_uint8]
    library.harness_run.argtypes = [c_uint64]
    library.harness_place.restype = c_int32
    for name in ("cycle", "least", "lockout", "rose", "high"):
        getattr(library, f"harness_{name}").restype = c_uint64
    for name in ("take", "steps", "overruns", "untouched", "crashed", "edges", "complaints"):
        getattr(library, f"harness_{name}").restype = c_uint32
    for name in ("ram", "port_b"):
        getattr(library, f"harness_{name}").restype = c_uint8
    return library


class Machine:
    """One board from power-on. A library has only one at a time.

    Lock-outs are measured if `watching`, which halves the speed.
    """

    byte_us = BYTE_US
    loop_ms = 0.1

    def __init__(
        self, library: CDLL, firmware: Firmware, *, place: tuple[int, int] = (37, -58), watching: bool = False
    ) -> None:
        self._library, self._firmware = library, firmware
        self._watching = watching
        self._buffer = create_string_buffer(TAKEN_AT_ONCE)
        self.now_ms = 0
        library.harness_stop()
        assert library.harness_start(str(firmware.elf).encode(), firmware.baud, *place, watching) == 0
        self.run(BOOT_MS)

    def stop(self) -> None:
        self._library.harness_stop()

    def restart(self, flags: int = POWER_ON_FLAG) -> None:
        """Restart; `flags` give the cause as in MCUSR."""
        self._library.harness_reset(flags)
        self.run(BOOT_MS)

    def look_closely(self) -> None:
        """Do nothing: all times are exact to the cycle."""

    def feed(self, data: bytes) -> None:
        self._library.harness_feed(data, len(data))

    def run(self, milliseconds: int) -> None:
        """Let time pass, without drift however long the last instruction was."""
        self.now_ms += milliseconds
        behind = self.now_ms * CYCLES_PER_MS - self.cycle
        self._library.harness_run(max(0, behind))
        assert not self._library.harness_crashed(), "the firmware crashed"

    def run_cycles(self, cycles: int) -> None:
        """Let a moment pass; the next `run` compensates for it."""
        self._library.harness_run(cycles)

    def take(self) -> bytes:
        count = self._library.harness_take(self._buffer, TAKEN_AT_ONCE)
        return self._buffer.raw[:count]

    def set_pin(self, port: str, bit: int, *, high: bool) -> None:
        self._library.harness_pin(ord(port), bit, high)

    def drive(self, name: Input, *, on: bool) -> None:
        """Switch an input on or off at its pin."""
        if name is Input.SUPPLY_LOW:
            self.set_supply(6.0 if on else 24.0)
            return
        port, bit, level_on = INPUTS[name]
        self.set_pin(port, bit, high=level_on is on)

    def set_supply(self, volts: float) -> None:
        """Set the supply of the motors, which reaches the controller through the divider of 10."""
        self._library.harness_supply(round(volts * 100))

    def edges(self) -> list[tuple[int, int]]:
        """The steps since the last call: (cycle, axis)."""
        buffer = (c_uint64 * MOST_EDGES)()
        count = self._library.harness_edges(buffer, MOST_EDGES)
        assert count < MOST_EDGES
        return [(word >> 1, word & 1) for word in buffer[:count]]

    @property
    def cycle(self) -> int:
        cycle: int = self._library.harness_cycle()
        return cycle

    @property
    def places(self) -> tuple[int, int]:
        return self._library.harness_place(0), self._library.harness_place(1)

    @property
    def steps(self) -> tuple[int, int]:
        return self._library.harness_steps(0), self._library.harness_steps(1)

    @property
    def late_ticks(self) -> int:
        late: int = self._library.harness_ram(self._firmware.late_ticks_at)
        return late

    @property
    def overruns(self) -> int:
        overruns: int = self._library.harness_overruns()
        return overruns

    @property
    def complaints(self) -> int:
        """Errors that the simulator has reported."""
        complaints: int = self._library.harness_complaints()
        return complaints

    @property
    def outputs(self) -> int:
        """Port B: bit 0 motors off, 1 half-press, 2 release."""
        outputs: int = self._library.harness_port_b()
        return outputs

    def pulse_ms(self, bit: int) -> tuple[float, float]:
        """The last pulse at a pin of port B: its start, and how long it was high."""
        return self._library.harness_rose(bit) / CYCLES_PER_MS, self._library.harness_high(bit) / CYCLES_PER_MS

    @property
    def used_ram(self) -> int:
        """Bytes of data, and of stack at its deepest."""
        untouched: int = self._library.harness_untouched(self._firmware.data_end)
        return RAM_BYTES - untouched

    @property
    def lockout_us(self) -> float:
        """The longest time during which no interrupt could run, interrupts themselves included."""
        assert self._watching
        return int(self._library.harness_lockout()) / F_CPU * 1e6

    def least_us(self, what: int) -> float:
        """The shortest time seen on either axis: 0 STEP high, 1 STEP low, 2 DIR stable before STEP."""
        return min(int(self._library.harness_least(axis, what)) for axis in (0, 1)) / F_CPU * 1e6
