"""The real port over a pseudo-terminal, with the simulated rig behind it in real time.

No test asserts how long these runs take.
"""

import os
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.capture.runner import Runner
from controller.commands.board import check_command, soak_command
from controller.commands.stand_in import rig_spec
from controller.errors import LinkLost
from controller.planning.make import make_plan
from controller.ports.serial_port import SerialPort, resolve
from controller.program.build import build_program
from controller.session.session import Session
from sim.rig import Rig
from sim.serve import RealTime
from sim.terminal import Terminal
from tests.bench.figures import full_frame_kit

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals")


class Served:
    """The rig, served by a thread until the test ends."""

    def __init__(self, speed: float) -> None:
        self.rig = Rig(rig_spec(full_frame_kit(24), 1))
        self.terminal = Terminal()
        self.path = self.terminal.path
        self._over = threading.Event()
        self._thread = threading.Thread(target=RealTime(self.rig, self.terminal, speed).serve, args=(self._over.is_set,))
        self._thread.start()

    def close(self) -> None:
        self._over.set()
        self._thread.join()
        self.terminal.__exit__(None, None, None)


@pytest.fixture
def served() -> Iterator[Served]:
    found = Served(speed=1.0)
    yield found
    found.close()


@pytest.mark.long
def test_the_same_host_runs_over_a_pseudo_terminal(served: Served, tmp_path: Path) -> None:
    plan = make_plan(full_frame_kit(24, brackets=1), 0.30)
    program = build_program(plan.kit, plan.frames[:2])
    with (
        Session.create(tmp_path / "s.sqlite", {}, durable=True) as session,
        SerialPort(served.path, 115_200) as port,
    ):
        result = Runner(program, port, session).run()
        shots = session.shots()
    assert result.complete
    assert [shot.intent.frame for shot in shots] == [0, 1]
    assert [one.frame for one in served.rig.truth.exposures] == [0, 1]
    assert all(one.still for one in served.rig.truth.exposures)
    assert os.listdir(tmp_path) == ["s.sqlite"]


@pytest.mark.long
def test_the_battery_over_a_pseudo_terminal(served: Served) -> None:
    verdicts = check_command(served.path, 115_200, lambda: False, lambda _: None)
    assert {verdict.kept for verdict in verdicts} == {True, None}


def test_a_soak_counts_what_it_did(served: Served) -> None:
    health = soak_command(served.path, 115_200, 0.3)
    assert health.exchanges > 0
    assert sum(health.histogram.values()) == health.exchanges
    assert not health.silent


def test_a_second_opener_is_refused(served: Served) -> None:
    with SerialPort(served.path, 115_200), pytest.raises(LinkLost, match="another program uses it"):
        SerialPort(served.path, 115_200)


def test_a_port_that_does_not_exist() -> None:
    with pytest.raises(LinkLost, match="cannot be opened"):
        SerialPort("/dev/there-is-no-such-port", 115_200)


def test_an_adapter_that_is_not_plugged_in() -> None:
    with pytest.raises(LinkLost, match="Plug it in"):
        resolve("usb:NO-SUCH-NUMBER")


def test_a_line_that_goes_away_is_told_once_and_then_only_waited_for() -> None:
    master, slave = os.openpty()
    port = SerialPort(os.ttyname(slave), 115_200)
    os.close(slave)
    os.close(master)

    def use() -> None:
        for _ in range(5):
            port.write(b"x")
            port.wait_bytes(port.now())

    with pytest.raises(LinkLost, match="is gone"):
        use()
    port.write(b"x")
    assert port.wait_bytes(port.now()) == b""
    with pytest.raises(LinkLost):
        port.reopen()
    port.close()


def test_in_and_out_through_a_loop() -> None:
    with SerialPort("loop://", 115_200) as port:
        port.write(b"\x00abc\x00")
        seen = b""
        while len(seen) < 5:
            seen += port.wait_bytes(port.now() + 10**9)
        assert seen == b"\x00abc\x00"
        assert port.wait_bytes(port.now() - 1) == b""
