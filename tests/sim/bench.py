"""A board on the bench: requests go directly in, messages come directly out, and time is a number."""

from __future__ import annotations

from random import Random
from typing import TypeVar

from protocol.codec import PROTOCOL_VERSION, decode_message, frame_of
from protocol.framing import Deframer
from protocol.messages import (
    Accepted,
    Arm,
    Booted,
    Finished,
    GetStatus,
    Held,
    Message,
    Notice,
    Reference,
    Reply,
    Request,
    SetAxis,
    Status,
)
from protocol.units import AxisId, BootId, CommandId, Steps
from sim.axis import AxisSpec
from sim.board import SimulatedBoard
from sim.camera import CameraSpec, SimulatedCamera
from sim.head import HeadSpec, SimulatedHead

MS = 1_000_000
NS = 1_000_000_000
STEPS_PER_DEGREE = 100.0
SPEED, ACCEL = 1000, 2000
MAX_RATE = 5000
LIMIT = 9000
SILENCE_MS = 5000
LAG_MS, SHUTTER_S = 50.0, 0.1
HEAD = HeadSpec(AxisSpec(STEPS_PER_DEGREE), AxisSpec(STEPS_PER_DEGREE), ring_hz=8.0, ring_damping=0.05, pixel_deg=0.01)

M = TypeVar("M")


class Bench:
    """A new board with head and camera. `ask` sends a request, `run_until` lets time pass."""

    def __init__(
        self,
        *,
        sync_contact: bool = True,
        pan: int = 37,
        tilt: int = -58,
        head: HeadSpec = HEAD,
        shapes: bool = True,
        minor: int = PROTOCOL_VERSION.minor,
    ) -> None:
        self.head = SimulatedHead(head, pan, tilt)
        self.camera = SimulatedCamera(CameraSpec((SHUTTER_S,), LAG_MS, ready_ms=200.0), Random(5))
        self.board = SimulatedBoard(
            self.head,
            self.camera,
            Random(1),
            sync_contact=sync_contact,
            max_step_rate=MAX_RATE,
            now_ns=0,
            shapes=shapes,
            minor=minor,
        )
        self.now_ns = 0
        self.notices: list[Notice] = []
        self._deframer = Deframer()
        self._seq = 0
        self._last_id = 0
        self._take()

    @property
    def boot_id(self) -> BootId:
        booted = self.notices[0]
        assert isinstance(booted, Booted)
        return booted.boot_id

    def next_id(self) -> CommandId:
        self._last_id += 1
        return CommandId(self._last_id)

    def ask(self, request: Request) -> Reply:
        """Send a request now and return its reply."""
        self._seq = (self._seq + 1) % 256
        self.board.receive(self.now_ns, frame_of(request, self._seq))
        (reply,) = self._take()
        return reply

    def order(self, request: Request) -> None:
        """Send a request that must be accepted."""
        assert self.ask(request) == Accepted()

    def status(self) -> Status:
        reply = self.ask(GetStatus())
        assert isinstance(reply, Status)
        return reply

    def run_until(self, now_ns: int) -> None:
        """Carry out everything that is due up to `now_ns`."""
        while True:
            moments = [m for m in (self.board.next_deadline(), self.camera.next_deadline()) if m is not None]
            due = min(moments, default=now_ns + 1)
            if due > now_ns:
                break
            self.now_ns = max(self.now_ns, due)
            if self.camera.next_deadline() == due:
                self.camera.close()
                self.board.sync_opened(self.now_ns)
            else:
                self.board.handle_deadline(self.now_ns)
            self._take()
        self.now_ns = now_ns

    def run(self, milliseconds: int) -> None:
        self.run_until(self.now_ns + milliseconds * MS)

    def run_for(self, seconds: float) -> None:
        self.run_until(self.now_ns + round(seconds * NS))

    def finish(self) -> Finished:
        """Let the command under way end while keeping the watchdog quiet. Returns the messages of the board."""
        known = len(self.of(Finished))
        for _ in range(1000):
            self.run_for(1.0)
            self.status()
            if len(self.of(Finished)) > known:
                return self.of(Finished)[-1]
        raise AssertionError("the command never ended")

    def of(self, kind: type[M]) -> list[M]:
        """The notices of one kind so far."""
        return [notice for notice in self.notices if isinstance(notice, kind)]

    def configure(self) -> None:
        for axis in AxisId:
            self.order(SetAxis(self.next_id(), axis, Steps(-LIMIT), Steps(LIMIT), SPEED, ACCEL))

    def arm(self) -> None:
        self.order(Arm(self.next_id(), self.boot_id, SILENCE_MS))

    def reference(self) -> None:
        self.order(Reference(self.next_id(), 500, 500, 10))
        self.finish()

    def make_ready(self) -> None:
        """Configure, arm and reference."""
        self.configure()
        self.arm()
        self.reference()

    def turns(self) -> bool:
        """Whether a motor is turning."""
        return any(axis.motion.speed_at(self.now_ns) != 0 for axis in (self.head.pan, self.head.tilt))

    def _take(self) -> list[Reply]:
        replies: list[Reply] = []
        for frame in self._deframer.feed(self.board.take()):
            message: Message = decode_message(frame.kind, frame.payload)
            if isinstance(message, Booted | Finished | Held):
                self.notices.append(message)
            else:
                assert frame.seq == self._seq
                replies.append(message)  # type: ignore[arg-type]  # a board sends nothing else
        return replies
