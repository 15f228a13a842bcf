"""QEMU with a Cortex-M controller, stopped and continued from here, so that it runs in virtual time.

Its time counts instructions (`-icount`), which makes runs the same each time. A breakpoint stops it; its debugger's
protocol is that of GDB ("Debugging with GDB", appendix "GDB Remote Serial Protocol"). Input pins are set through its test
protocol ("qtest"), and changes of output pins are read from its trace.
"""

from __future__ import annotations

import os
import re
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path
from select import select

INSTRUCTION_SHIFT = 7
"""An instruction takes 2^7 ns: 2.05 cycles of 16 MHz. That is more than a Cortex-M0 needs on average."""
GIVE_UP_S = 60.0
OUTPUT = re.compile(rb"nrf51_gpio_update_output_irq line (\d+) value (-?\d)")
TIMER_WRITE = b"nrf51_timer_write"
SOC = "/machine/nrf51"
TAKEN_AT_ONCE = 65536


def _listen(path: Path) -> socket.socket:
    server = socket.socket(socket.AF_UNIX)
    server.settimeout(GIVE_UP_S)
    server.bind(str(path))
    server.listen(1)
    return server


class Emulator:
    """One controller from power-on, stopped before its first instruction."""

    def __init__(self, program: Path, folder: Path, seed: int) -> None:
        lines = {name: folder / f"{name}{seed}" for name in ("line", "debugger", "pins")}
        servers = {name: _listen(path) for name, path in lines.items()}
        self._trace, trace_in = os.pipe()
        os.set_blocking(self._trace, False)
        self._process = subprocess.Popen(_command(program, lines, seed, trace_in), pass_fds=[trace_in])
        os.close(trace_in)
        self._line, self._debugger, self._pins = (server.accept()[0] for server in servers.values())
        for server in servers.values():
            server.close()
        for connection in (self._debugger, self._pins):
            connection.settimeout(GIVE_UP_S)
        self._line.setblocking(False)
        self._heard = self._begun = b""
        assert self.ask_debugger("Qqemu.sstep=1") == b"OK"  # one instruction, with interrupts and timers as always

    def stop(self) -> None:
        """End the process; call it whatever happened."""
        self._process.kill()
        self._process.wait()
        for connection in (self._line, self._debugger, self._pins):
            connection.close()
        os.close(self._trace)

    def break_at(self, address: int, *, on: bool) -> None:
        assert self.ask_debugger(f"{'Z' if on else 'z'}0,{address:x},2") == b"OK"

    def step(self) -> None:
        """Run one instruction, an interrupt before it if one is due."""
        self.ask_debugger("s")

    def run_to_break(self) -> None:
        """Run to the next breakpoint; at one, first leave it."""
        self.step()
        assert self.ask_debugger("c").startswith(b"T05")

    def memory(self, address: int, count: int) -> bytes:
        return bytes.fromhex(self.ask_debugger(f"m{address:x},{count:x}").decode())

    def write(self, address: int, data: bytes) -> None:
        assert self.ask_debugger(f"M{address:x},{len(data):x}:{data.hex()}") == b"OK"

    @property
    def at(self) -> tuple[int, int]:
        """The next instruction (register 15), and the exception being handled, 0 for none (in xPSR, the last)."""
        registers = bytes.fromhex(self.ask_debugger("g").decode())
        return int.from_bytes(registers[60:64], "little"), int.from_bytes(registers[-4:], "little") & 0x3F

    def trace_ticks(self) -> None:
        """From now on the events include the ticks."""
        assert self.ask_debugger("qRcmd," + b"trace-event nrf51_timer_write on".hex()) == b"OK"

    def set_pin(self, pin: int, *, high: bool) -> None:
        assert self._ask_pins(f"set_irq_in {SOC} unnamed-gpio-in {pin} {int(high)}") == "OK"

    def send(self, data: bytes) -> None:
        """Put bytes into the receiver; returns when they are there."""
        self._line.sendall(data)
        for _ in range(2):  # the emulator looks at all its connections once in a round
            self._ask_pins("endianness")

    def take(self) -> bytes:
        try:
            return self._line.recv(TAKEN_AT_ONCE)
        except BlockingIOError:
            return b""

    def events(self) -> Iterator[tuple[int, int] | None]:
        """What happened since the last call: (pin, its new level), or None for a tick, once these are traced."""
        self._read_trace()
        *whole, self._begun = self._begun.split(b"\n")
        for line in whole:
            if line.startswith(TIMER_WRITE):
                if b" 0x140 " in line:
                    yield None
            elif found := OUTPUT.match(line):
                yield int(found[1]), int(found[2])

    def _read_trace(self) -> None:
        try:
            while data := os.read(self._trace, TAKEN_AT_ONCE):
                self._begun += data
        except BlockingIOError:
            return

    def ask_debugger(self, command: str) -> bytes:
        data = command.encode()
        self._debugger.sendall(b"$%b#%02x" % (data, sum(data) % 256))
        while True:
            begin = self._heard.find(b"$")
            end = self._heard.find(b"#", begin + 1)
            if begin >= 0 and end >= 0 and len(self._heard) >= end + 3:
                reply, self._heard = self._heard[begin + 1 : end], self._heard[end + 3 :]
                self._debugger.sendall(b"+")
                return reply
            while not select([self._debugger], [], [], 0)[0]:  # a full trace would hold the emulator up
                ready = select([self._debugger.fileno(), self._trace], [], [], GIVE_UP_S)[0]
                assert ready, "the emulator does not stop"
                self._read_trace()
            self._heard += self._received(self._debugger)

    def _ask_pins(self, command: str) -> str:
        self._pins.sendall(f"{command}\n".encode())
        reply = b""
        while not reply.endswith(b"\n"):
            reply += self._received(self._pins)
        return reply.decode().split()[0]

    @staticmethod
    def _received(connection: socket.socket) -> bytes:
        data = connection.recv(TAKEN_AT_ONCE)
        assert data, "the emulator has ended"
        return data


def _command(program: Path, lines: dict[str, Path], seed: int, trace_in: int) -> list[str]:
    """QEMU's command line. `setpriv` ends it with this process, however that ends."""
    sockets = [part for name in ("line", "debugger") for part in ("-chardev", f"socket,id={name},path={lines[name]}")]
    return [
        *("setpriv", "--pdeathsig", "KILL", "qemu-system-arm", "-M", "microbit", "-nodefaults", "-display", "none", "-S"),
        *(
            "-device",
            f"loader,file={program}",
            "-icount",
            f"shift={INSTRUCTION_SHIFT},sleep=off",
            "-seed",
            str(seed),
            *sockets,
        ),
        *(
            "-serial",
            "chardev:line",
            "-gdb",
            "chardev:debugger",
            "-qtest",
            f"unix:{lines['pins']}",
            "-qtest-log",
            os.devnull,
        ),
        *("-d", "trace:nrf51_gpio_update_output_irq", "-D", f"/dev/fd/{trace_in}"),
    ]
