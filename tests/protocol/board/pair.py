"""The core and the simulated board side by side: the same bytes at the same moments must give the same answers.

They turn by different means, one with steps and a speed that changes each millisecond, the other with exact ramps. So
their motions may end a few milliseconds apart, and stop a few steps apart. Nothing is sent in these windows: before each
request, time advances until both are in the same state, and the length of this is bounded. Positions are compared to the
step after ARRIVED and REFERENCED, and to a few steps otherwise. Invalid (unknown) ones are not compared.
"""

from __future__ import annotations

from ctypes import CDLL
from dataclasses import replace
from random import Random
from typing import Any

from protocol.codec import decode_message
from protocol.framing import Deframer
from protocol.messages import BoardState, Finished, Held, Message, Outcome, Status, StatusFlag
from sim.axis import AxisSpec
from sim.board import KNOWN as KNOWN_FLAGS
from sim.board import SimulatedBoard
from sim.camera import CameraSpec, SimulatedCamera
from sim.head import HeadSpec, SimulatedHead
from tests.protocol.board.core import Core

MS = 1_000_000
MAX_RATE = 20_000
PLACE = (37, -58)
CAMERA_MS = (50, 100)
APART_MS = 60
"""The most by which a command may end earlier on one side. A reference run has four parts, and one creeping step takes
long.
"""
APART_STEPS = 25
EXACT = {Outcome.ARRIVED, Outcome.REFERENCED}
SPEC = HeadSpec(AxisSpec(100.0), AxisSpec(100.0), ring_hz=8.0, ring_damping=0.05, pixel_deg=0.01)
NEVER_DEG = 1e5
"""A flag this far away is never met."""
KNOWN = StatusFlag.PAN_KNOWN | StatusFlag.TILT_KNOWN


class Simulated:
    """The simulated board as a machine."""

    def __init__(self, place: tuple[int, int] = PLACE) -> None:
        self.head = SimulatedHead(SPEC, *place)
        lag_ms, shutter_ms = CAMERA_MS
        spec = CameraSpec((shutter_ms / 1000,), float(lag_ms), ready_ms=0.0, lag_scatter_ms=0.0)
        self.camera = SimulatedCamera(spec, Random(5))
        self.board = SimulatedBoard(
            self.head, self.camera, Random(1), sync_contact=True, max_step_rate=MAX_RATE, now_ns=0
        )
        self.now_ms = 0

    def feed(self, data: bytes) -> None:
        self.board.receive(self.now_ms * MS, data)
        self._settle(self.now_ms * MS)

    def run(self, milliseconds: int) -> None:
        self.now_ms += milliseconds
        self._settle(self.now_ms * MS)

    def take(self) -> bytes:
        return self.board.take()

    def _settle(self, until_ns: int) -> None:
        while True:
            moments = [at for at in (self.board.next_deadline(), self.camera.next_deadline()) if at is not None]
            due = min(moments, default=until_ns + 1)
            if due > until_ns:
                return
            if self.camera.next_deadline() == due:
                self.camera.close()
                self.board.sync_opened(due)
            else:
                self.board.handle_deadline(due)

    @property
    def stage(self) -> tuple[int, int, int]:
        known = sum(KNOWN_FLAGS[name] for name in self.board._known)
        return int(self.board._state), int(self.board._finished), int(known)


class Pair:
    """Both boards, with all their messages."""

    def __init__(self, library: CDLL, place: tuple[int, int] = PLACE) -> None:
        self.theirs = Simulated(place)
        self.boot_id = self.theirs.board._boot_id
        self.ours = Core(library, boot_id=self.boot_id, place=place, camera_ms=CAMERA_MS)
        self._deframers = Deframer(), Deframer()
        self._notices: tuple[list[Message], list[Message]] = ([], [])
        assert self.feed(b"") == []

    def feed(self, data: bytes) -> list[tuple[Message, Message]]:
        """Give both the same bytes. Both must reply at once, with the same number of replies."""
        for machine in (self.ours, self.theirs):
            machine.feed(data)
        ours, theirs = self._replies()
        assert [seq for seq, _ in ours] == [seq for seq, _ in theirs]
        pairs = [(mine, other) for (_, mine), (_, other) in zip(ours, theirs, strict=True)]
        for mine, other in pairs:
            self.compare(mine, other)
        return pairs

    def lose_switches(self, lost: tuple[bool, bool]) -> None:
        """From now on the switches of pan and tilt never change, if lost."""
        self.ours.stick_flags(lost[0] | lost[1] << 1)
        axes = (self.theirs.head.pan, self.theirs.head.tilt)
        for axis, at, is_lost in zip(axes, self.ours.places, lost, strict=True):
            if is_lost:
                axis.flag_deg = -NEVER_DEG if at >= 0 else NEVER_DEG

    def run(self, milliseconds: int) -> None:
        for machine in (self.ours, self.theirs):
            machine.run(milliseconds)
        assert self._replies() == ([], [])

    def agree(self) -> None:
        """Let time pass until both are in the same state; then their messages must be the same."""
        for _ in range(APART_MS):
            if (self.ours.state, self.ours.finished, self.ours.known) == self.theirs.stage:
                break
            self.run(1)
        assert (self.ours.state, self.ours.finished, self.ours.known) == self.theirs.stage
        ours, theirs = self._notices
        assert len(ours) == len(theirs), (ours, theirs)
        for mine, other in zip(ours, theirs, strict=True):
            self.compare(mine, other)
        ours.clear()
        theirs.clear()

    def wait_for_camera(self) -> None:
        """Wait until the camera is at rest: see the report on contacts that closed before the release did."""
        self.run(sum(CAMERA_MS) + 2)
        self.agree()

    def _replies(self) -> tuple[list[tuple[int, Message]], list[tuple[int, Message]]]:
        found: list[list[tuple[int, Message]]] = []
        machines: tuple[Any, Any] = (self.ours, self.theirs)
        for machine, deframer, notices in zip(machines, self._deframers, self._notices, strict=True):
            replies = []
            for frame in deframer.feed(machine.take()):
                message = decode_message(frame.kind, frame.payload)
                if frame.kind >= 0xE0:
                    notices.append(message)
                else:
                    replies.append((frame.seq, message))
            assert deframer.counters.damaged == 0
            found.append(replies)
        return found[0], found[1]

    def compare(self, mine: Message, other: Message) -> None:
        """The same except for the allowed differences."""
        assert type(mine) is type(other), (mine, other)
        if isinstance(mine, Status) and isinstance(other, Status):
            rests = mine.state in {BoardState.READY, BoardState.DISARMED, BoardState.EXPOSING}
            exact = rests and mine.finished_outcome in EXACT
            self._compare_places(mine, other, known=mine.flags & KNOWN == KNOWN, exact=exact and mine.cause == 0)
            assert abs(mine.finished_clock_ms - other.finished_clock_ms) <= APART_MS
            other = replace(
                other, pan_steps=mine.pan_steps, tilt_steps=mine.tilt_steps, finished_clock_ms=mine.finished_clock_ms
            )
        elif isinstance(mine, Finished | Held) and isinstance(other, Finished | Held):
            exact = isinstance(mine, Finished) and mine.outcome in EXACT
            self._compare_places(mine, other, known=exact, exact=exact)
            assert abs(mine.clock_ms - other.clock_ms) <= APART_MS
            other = replace(other, pan_steps=mine.pan_steps, tilt_steps=mine.tilt_steps, clock_ms=mine.clock_ms)
        assert mine == other

    @staticmethod
    def _compare_places(
        mine: Status | Finished | Held, other: Status | Finished | Held, *, known: bool, exact: bool
    ) -> None:
        if not known:
            return
        apart = [abs(mine.pan_steps - other.pan_steps), abs(mine.tilt_steps - other.tilt_steps)]
        assert max(apart) <= (0 if exact else APART_STEPS), (mine, other)
