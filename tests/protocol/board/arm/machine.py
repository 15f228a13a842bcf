"""The firmware on an emulated nRF51822 with motors and flags, driven like the core: bytes and milliseconds in, bytes out.

The emulator models the interrupts, the timer, the pins and the registers of the line, and counts instructions. It knows
neither the cycles of an instruction nor the time of a byte on the line, so it cannot tell how long a pulse is within its
tick.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tests.protocol.board import build
from tests.protocol.board.arm.emulator import Emulator
from tests.protocol.board.pins import Input

TICKS_PER_MS = 40
LUMP = 6
"""Bytes that the controller's receiver holds; they arrive so many at once, once in a millisecond."""
BYTE_US = 1000 / LUMP
BOOT_MS = 5
FIRMWARE = build.ROOT / "protocol" / "board"
STEP_PINS, DIR_PINS, FLAG_PINS = (1, 2), (3, 4), (8, 9)
MOTORS_OFF_PIN = 5
TIMER_EXCEPTION = 16 + 8
LATE_BY_STOPPING = 2
"""Whenever the emulator stops, its clock advances to the next tick, which is then late; a breakpoint stops it twice."""
OUTPUT_PINS = (MOTORS_OFF_PIN, 6, 7)
"""Motors off, half-press, release: bits 0 to 2 of `outputs`."""
INPUTS = {
    Input.PAN_LIMIT: (10, True),
    Input.TILT_LIMIT: (11, True),
    Input.SYNC: (12, False),
    Input.STOP_SWITCH: (13, True),
    Input.SUPPLY_LOW: (14, False),
}
"""The pin of each input, and its level when the input is on."""


@dataclass(frozen=True, slots=True)
class Firmware:
    """The built firmware: the program, its sizes, and addresses of functions and data."""

    program: Path
    flash_bytes: int
    ram_bytes: int
    symbols: dict[str, int]


def tools_lacking() -> str | None:
    """What is missing for the build and how to get it; None if nothing is."""
    packages = "gcc-arm-none-eabi, libnewlib-arm-none-eabi, make and qemu-system-arm"
    programs = ["make", "arm-none-eabi-gcc", "arm-none-eabi-nm", "arm-none-eabi-size", "qemu-system-arm", "setpriv"]
    lack = build.lacking(programs, packages)
    if lack is None and not build.has_header("arm-none-eabi-gcc", header="math.h"):
        return f"math.h not found: install {packages} to test the firmware"
    return lack


def build_firmware(folder: Path, *options: str) -> Firmware:
    """Build the firmware; `options` in the form that make accepts."""
    build.run("make", "-C", FIRMWARE, "TARGET=arm", f"OUT={folder}", *options)
    return firmware_of(folder / "fullturn.elf", folder / "fullturn.hex")


def firmware_of(elf: Path, program: Path) -> Firmware:
    """A program to be written into the controller, with sizes and addresses from the linker's file."""
    sizes = build.run("arm-none-eabi-size", elf).splitlines()[1].split()
    text, data, bss = (int(size) for size in sizes[:3])
    listed = [line.split() for line in build.run("arm-none-eabi-nm", elf).splitlines()]
    return Firmware(
        program, text + data, data + bss, {parts[2]: int(parts[0], 16) for parts in listed if len(parts) == 3}
    )


class Machine:
    """One board from power-on. Time passes by the millisecond, and by the tick when a motor is near its flag."""

    byte_us = BYTE_US
    loop_ms = 1.1  # an emulated instruction takes longer than a real one

    def __init__(self, firmware: Firmware, folder: Path, *, place: tuple[int, int] = (37, -58)) -> None:
        self._firmware, self._folder = firmware, folder
        self._place = list(place)
        self._steps = [0, 0]
        self._starts = 0
        self._edges: list[tuple[int, int]] = []
        self._inputs = dict.fromkeys(Input, False)
        self.now_ms = 0
        self._power_on()

    def _power_on(self) -> None:
        self._starts += 1
        self._emulator = Emulator(self._firmware.program, self._folder, self._starts)
        self._levels: dict[int, int] = {}
        self._rose: dict[int, int] = {}
        self._high: dict[int, int] = {}
        self._waiting = self._sent = b""
        self._made = [0, 0]  # steps in the last millisecond
        self._shown: list[bool | None] = [None, None]
        self._show_flags()
        for name, on in self._inputs.items():
            self.drive(name, on=on)
        self._emulator.break_at(self._firmware.symbols["clock_millisecond"], on=True)
        self._ticks = self.now_ms * TICKS_PER_MS
        self._closely = False
        self.run(BOOT_MS)

    def stop(self) -> None:
        self._emulator.stop()

    def restart(self) -> None:
        """Cut the power and switch it on again; nothing in this controller outlives that."""
        kept = self.take()
        self.stop()
        self._power_on()
        self._sent = kept

    def look_closely(self) -> None:
        """From now on edges have the time of their tick, and before that of the millisecond's beginning."""
        self._closely = True
        self._emulator.trace_ticks()

    def feed(self, data: bytes) -> None:
        self._waiting += data

    def take(self) -> bytes:
        sent, self._sent = self._sent + self._emulator.take(), b""
        return sent

    def drive(self, name: Input, *, on: bool) -> None:
        """Switch an input on or off at its pin."""
        pin, level_on = INPUTS[name]
        self._inputs[name] = on
        self._emulator.set_pin(pin, high=level_on is on)

    def run(self, milliseconds: int) -> None:
        for _ in range(milliseconds):
            self._millisecond()

    def _millisecond(self) -> None:
        self.now_ms += 1
        lump, self._waiting = self._waiting[:LUMP], self._waiting[LUMP:]
        if lump:
            self._emulator.send(lump)
        before = tuple(self._steps)
        if any(made and abs(at) <= made + 2 for at, made in zip(self._place, self._made, strict=True)):
            self._ticks_of_a_millisecond()
        self._go()
        assert not self._closely or self._ticks == self.now_ms * TICKS_PER_MS, "the clock counts other ticks than came"
        self._ticks = self.now_ms * TICKS_PER_MS
        self._made = [now - old for now, old in zip(self._steps, before, strict=True)]

    def _ticks_of_a_millisecond(self) -> None:
        """Stop at the beginning of each tick, so that a flag changes right after its step."""
        tick = self._firmware.symbols["on_timer"]
        self._emulator.break_at(tick, on=True)
        for _ in range(TICKS_PER_MS):
            self._go()
        self._emulator.break_at(tick, on=False)

    def _go(self) -> None:
        self._emulator.run_to_break()
        self._watch()

    def _watch(self) -> None:
        """Follow the pins since the last stop. A flag changes now: too late if its motor made another step."""
        made = [0, 0]
        for event in self._emulator.events():
            if event is None:
                self._ticks += 1
                continue
            pin, level = event
            self._levels[pin] = level
            if level == 1 and pin in STEP_PINS:
                axis = STEP_PINS.index(pin)
                made[axis] += 1
                self._steps[axis] += 1
                self._place[axis] += 1 if self._levels[DIR_PINS[axis]] else -1
                self._edges.append((self._ticks, axis))
            elif level == 1:
                self._rose[pin] = self._ticks
            elif pin in self._rose:
                self._high[pin] = self._ticks - self._rose[pin]
        changed = self._show_flags()
        assert all(made[axis] <= 1 for axis in changed), "a flag was seen too late"

    def _show_flags(self) -> list[int]:
        changed = [axis for axis in (0, 1) if self._shown[axis] is not (self._place[axis] >= 0)]
        for axis in changed:
            self._shown[axis] = self._place[axis] >= 0
            self._emulator.set_pin(FLAG_PINS[axis], high=self._place[axis] < 0)  # low is on
        return changed

    def edges(self) -> list[tuple[int, int]]:
        """The steps since the last call: (tick, axis)."""
        edges, self._edges = self._edges, []
        return edges

    @property
    def places(self) -> tuple[int, int]:
        return self._place[0], self._place[1]

    @property
    def steps(self) -> tuple[int, int]:
        return self._steps[0], self._steps[1]

    @property
    def outputs(self) -> int:
        """Bit 0 motors off, 1 half-press, 2 release."""
        return sum((self._levels[pin] == 1) << bit for bit, pin in enumerate(OUTPUT_PINS))

    def pulse_ms(self, bit: int) -> tuple[float, float]:
        """The last pulse of a contact, named as in `outputs`: its start, and how long it was high; see `look_closely`."""
        pin = OUTPUT_PINS[bit]
        return self._rose[pin] / TICKS_PER_MS, self._high[pin] / TICKS_PER_MS

    def run_without_stop(self, function: str) -> int:
        """Run to the next call of a function. Returns how many ticks were late, besides those that stopping makes late.

        Flags do not follow the motors meanwhile, so that no motor may pass its flag.
        """
        assert self._closely
        symbols = self._firmware.symbols
        self._emulator.break_at(symbols["clock_millisecond"], on=False)
        self._emulator.break_at(symbols[function], on=True)
        self._emulator.write(symbols["clock_late_ticks"], b"\0")
        self._go()
        late = self._emulator.memory(symbols["clock_late_ticks"], 1)[0]
        self._emulator.break_at(symbols[function], on=False)
        self._emulator.break_at(symbols["clock_millisecond"], on=True)
        self._go()
        self.now_ms = self._ticks // TICKS_PER_MS
        return late - LATE_BY_STOPPING

    def instructions_of_a_tick(self) -> int:
        """Run to the next tick, and count the instructions of its interrupt."""
        tick = self._firmware.symbols["on_timer"]
        self._emulator.break_at(tick, on=True)
        self._emulator.run_to_break()
        self._emulator.break_at(tick, on=False)
        count = 0
        at = (tick, TIMER_EXCEPTION)
        while at[1] == TIMER_EXCEPTION and (at[0] != tick or count == 0):
            self._emulator.step()
            count += 1
            at = self._emulator.at
        return count
