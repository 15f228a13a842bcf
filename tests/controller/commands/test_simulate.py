"""`fullturn simulate` as a separate process, with the real host at the other end."""

import json
import signal
import sys
from pathlib import Path
from typing import Any

import pytest

from controller.capture.port import Port
from controller.capture.runner import Runner
from controller.commands.stand_in import rig_spec
from controller.errors import LinkLost
from controller.kit.kit import Kit
from controller.kit.load import load_kit
from controller.planning.make import make_plan
from controller.ports.serial_port import SerialPort
from controller.program.build import build_program
from controller.session.rows import ShotOutcome
from controller.session.session import Session
from protocol.codec import decode_message
from protocol.framing import CheckedFrame, Deframer
from protocol.messages import Booted, GetStatus, Message, Status
from sim.rig import Rig
from sim.virtual_port import VirtualPort
from tests.controller.commands.simulated import simulated

BAUD = 115_200
SPEED = 5.0

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals")


class Overheard:
    """A port, and what crosses it, except status requests, which depend on the clock.

    What the board sends when it is switched on, long before a real host is there, is also left out.
    """

    def __init__(self, port: Port) -> None:
        self._port = port
        self._ends = (Deframer(), Deframer())
        self._latest: list[CheckedFrame | None] = [None, None]
        self.messages: list[Message] = []

    def now(self) -> int:
        return self._port.now()

    def reopen(self) -> None:
        self._port.reopen()

    def write(self, data: bytes) -> None:
        self._note(0, data)
        self._port.write(data)

    def wait_bytes(self, deadline_ns: int | None) -> bytes:
        data = self._port.wait_bytes(deadline_ns)
        self._note(1, data)
        return data

    def _note(self, end: int, data: bytes) -> None:
        for frame in self._ends[end].feed(data):
            if frame == self._latest[end]:  # repeated, because the answer took time
                continue
            self._latest[end] = frame
            message = decode_message(frame.kind, frame.payload)
            if not isinstance(message, GetStatus | Status | Booted):
                self.messages.append(message)


def shoot(kit: Kit, port: Port, folder: Path, frames: int = 2) -> list[tuple[int, int]]:
    """Run the first frames of a plan; return what the session contains as confirmed."""
    plan = make_plan(kit, 0.3)
    with Session.create(folder / f"{len(list(folder.glob('*.sqlite')))}.sqlite", {}, durable=True) as session:
        result = Runner(build_program(kit, plan.frames[:frames]), port, session).run()
        assert result.complete, result.sentence
        shots = session.shots()
    assert all(shot.outcome is ShotOutcome.CONFIRMED for shot in shots)
    return [(shot.intent.frame, shot.intent.exposure) for shot in shots]


def exposures(path: Path) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(path.read_text(encoding="utf-8"))["exposures"]
    return found


def made(path: Path) -> list[tuple[int, int]]:
    return [(one["frame"], one["exposure"]) for one in exposures(path)]


def kinds(messages: list[Message]) -> list[str]:
    return [type(message).__name__ for message in messages]


@pytest.mark.long
def test_a_run_over_the_pseudo_terminal_says_the_same_as_in_virtual_time(tmp_path: Path) -> None:
    words = ("--port-name", "port", "--truth", "truth.json", "--speed", str(SPEED))
    with simulated(tmp_path, *words) as (process, said):
        assert said == {"port": "port", "kit": "kit.toml", "truth": "truth.json", "exposures_before": 0}
        assert exposures(tmp_path / "truth.json") == []
        kit = load_kit(tmp_path / "kit.toml")
        with SerialPort(str(tmp_path / "port"), BAUD) as port:
            real = Overheard(port)
            shots = shoot(kit, real, tmp_path)
        assert made(tmp_path / "truth.json") == shots
        assert all(one["still"] for one in exposures(tmp_path / "truth.json"))
        process.send_signal(signal.SIGTERM)
        assert process.wait(10) == 0
    assert not (tmp_path / "port").is_symlink()
    virtual = Overheard(VirtualPort(Rig(rig_spec(kit, 0))))
    assert shoot(kit, virtual, tmp_path) == shots
    assert kinds(real.messages) == kinds(virtual.messages)


@pytest.mark.long
def test_a_run_over_tcp(tmp_path: Path) -> None:
    with simulated(tmp_path, "--tcp", "127.0.0.1:0", "--truth", "truth.json", "--speed", str(SPEED)) as (_, said):
        with SerialPort(said["port"], BAUD) as port:
            shots = shoot(load_kit(tmp_path / "kit.toml"), port, tmp_path)
        assert made(tmp_path / "truth.json") == shots


@pytest.mark.long
def test_a_killed_simulation_loses_nothing_and_is_continued(tmp_path: Path) -> None:
    words = ("--port-name", "port", "--truth", "truth.json", "--speed", str(SPEED))
    kit = None
    for before in (0, 2):
        with simulated(tmp_path, *words) as (process, said):
            assert said["exposures_before"] == before
            kit = kit or load_kit(tmp_path / "kit.toml")
            with SerialPort(str(tmp_path / "port"), BAUD) as port:
                shoot(kit, port, tmp_path, frames=1)
            process.kill()
            process.wait()
        assert (tmp_path / "port").is_symlink()  # left behind, and replaced by the next one
        assert made(tmp_path / "truth.json") == [(0, 0), (0, 1)] * (before // 2 + 1)


def test_a_second_program_at_the_port_is_refused(tmp_path: Path) -> None:
    with (
        simulated(tmp_path, "--port-name", "port") as _,
        SerialPort(str(tmp_path / "port"), BAUD),
        pytest.raises(LinkLost, match="another program uses it"),
    ):
        SerialPort(str(tmp_path / "port"), BAUD)
