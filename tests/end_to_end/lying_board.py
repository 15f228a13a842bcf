"""A separate simulated board, honest unless a lie is put into it, which knows the truth of its head and shutter.

Written from protocol/SPEC.md, as the other end of a `Port`, in virtual time. Its messages pass `say`, where lies in
messages are inserted; lies in deeds are set in its attributes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from tests.end_to_end.lying_codec import Fields, decode, encode

MS, NS = 1_000_000, 1_000_000_000
DISARMED, READY, MOVING, REFERENCING, EXPOSING, STOPPING = range(6)
NONE, ARRIVED, REFERENCED, SYNC, BLIND, NO_SYNC, CUT_SHORT = range(7)
NOT_ARMED, BUSY, OUT_OF_LIMITS, STALE_ID, WRONG_BOOT, UNKNOWN_POSITION, BAD_VALUE = range(1, 8)
NOT_CONFIGURED = 10
HOST_STOP, HOST_HALT, HOST_SILENCE = 2, 3, 4
LINE_NS, BRAKE_NS, REFERENCE_NS = MS, 50 * MS, 3 * NS
Message = tuple[str, int, Fields]
Words = Iterable[Message | bytes]


@dataclass(frozen=True)
class Opened:
    """An opening of the shutter: when, and where the head truly was."""

    at_ns: int
    frame: int
    exposure: int
    at_steps: tuple[float, float]
    still: bool


@dataclass
class Motion:
    """From one counted position to another, at a constant speed."""

    begin_ns: int
    end_ns: int
    start: tuple[int, int]
    goal: tuple[int, int]

    def at(self, now: int) -> tuple[int, int]:
        share = 1.0 if now >= self.end_ns else (now - self.begin_ns) / (self.end_ns - self.begin_ns)
        pan, tilt = (round(a + (b - a) * share) for a, b in zip(self.start, self.goal, strict=True))
        return pan, tilt


class LyingBoard:
    """One board. `error` is the difference of the truth from its count; a reference run sets it to `zero_error`."""

    def __init__(self) -> None:
        self.boot, self.last, self.capabilities = 0x5EED0B07, 0, 1 | 2 | 4 | 8 | 32
        self.clock_from_ms = 1000
        # Deeds that a lie may change.
        self.follows = True  # the motors make the counted steps
        self.miss: Callable[[tuple[int, int]], tuple[int, int]] = lambda goal: goal  # the end of a Move
        self.quick = self.hurry = 1.0  # share of the time that a motion, and an exposure, takes
        self.shapes = True  # moves take longer by the shapers that it was given
        self.fires = True
        self.obeys_stop = True
        self.finishes = True
        self.zero_error = (0, 0)
        self.hears = True
        self.say: Callable[[LyingBoard, Message], Words] = lambda _, message: [message]
        # Its activity.
        self.now = 0
        self.state, self.cause, self.armed, self.known = DISARMED, 1, False, False
        self.axes: dict[int, Fields] = {}
        self.shaped_ms: dict[int, int] = {}
        self.silence_ns = self.heard_ns = 0
        self.running = self.finished = self.outcome = self.finished_ms = 0
        self.error: tuple[int, int] = (-700, 450)
        self.motion = Motion(0, 0, (0, 0), (0, 0))
        self.due: list[tuple[int, Callable[[], None]]] = []
        self.edges = {0: (0, 0, 0), 1: (0, 0, 0)}
        self.latest: tuple[Message, Message] | None = None
        self.sent: list[bytes] = []
        # The truth, and the commands with their times.
        self.truth: list[Opened] = []
        self.commands: list[tuple[int, str]] = []

    @property
    def clock_ms(self) -> int:
        return self.now // MS + self.clock_from_ms

    @property
    def at(self) -> tuple[int, int]:
        """Its counted position."""
        return self.motion.at(self.now)

    def hear(self, name: str, seq: int, fields: Fields) -> None:
        """Receive a request."""
        self.commands.append((self.now, name))
        if not self.hears:
            return
        self.heard_ns = self.now
        request = (name, seq, fields)
        if self.latest is not None and self.latest[0] == request and name != "Hello":
            self._out(self.latest[1])
            return
        answer, values = self._judge(name, fields)
        reply = (answer, seq, values)
        self.latest = (request, reply)
        self._out(reply)

    def _out(self, message: Message) -> None:
        for word in self.say(self, message):
            self.sent.append(word if isinstance(word, bytes) else encode(*word))

    def notice(self, name: str, **fields: Any) -> None:
        self._out((name, 0, fields))

    def _judge(self, name: str, fields: Fields) -> tuple[str, Fields]:
        if "id" in fields:
            reason = self._refusal(name, fields)
            if reason is None:
                return "Accepted", {}
            if reason:
                return "Refused", {"reason": reason}
            self.last = fields["id"]
        answer = {"Hello": self._welcome, "GetStatus": self._status, "GetIndex": self._index}.get(name)
        if answer is not None:
            return answer(fields)
        getattr(self, f"_do_{name.lower()}")(fields)
        return "Accepted", {}

    def _refusal(self, name: str, fields: Fields) -> int | None:
        """A reason, 0 for none, None if it was accepted before."""
        if fields["id"] == self.last:
            return None
        if self.last and not 0 < (fields["id"] - self.last) % (1 << 32) < 1 << 31:
            return STALE_ID
        if name == "SetAxis":
            return 0 if self.state == DISARMED else BUSY
        if name == "SetShaper":
            resting = self.state in (DISARMED, READY)
            return (0 if fields["axis"] in self.axes else NOT_CONFIGURED) if resting else BUSY
        if name == "Arm":
            return 0 if self.state in (DISARMED, READY) else BUSY
        if not self.armed or self.state != READY:
            return BUSY if self.armed else NOT_ARMED
        return UNKNOWN_POSITION if name == "Move" and not self.known else 0

    def _welcome(self, fields: Fields) -> tuple[str, Fields]:
        values = {"major": 1, "minor": 2, "nonce": fields["nonce"], "boot": self.boot, "last": self.last}
        return "Welcome", {**values, "capabilities": self.capabilities, "bytes": 128, "rate": 40_000}

    def _status(self, _: Fields) -> tuple[str, Fields]:
        pan, tilt = self.at
        return "Status", {
            "boot": self.boot,
            "state": self.state,
            "flags": int(self.armed) | (6 if self.known else 0),
            "cause": self.cause,
            "pan": pan,
            "tilt": tilt,
            "running": self.running,
            "finished": self.finished,
            "outcome": self.outcome,
            "finished_ms": self.finished_ms,
            "clock_ms": self.clock_ms,
        }

    def _index(self, _: Fields) -> tuple[str, Fields]:
        names = ("edges", "", "edge")
        pan, tilt = (dict(zip(names, self.edges[axis], strict=True)) for axis in (0, 1))
        return "Index", {
            **{"pan_edges": pan["edges"], "pan": pan[""], "pan_edge": pan["edge"]},
            **{"tilt_edges": tilt["edges"], "tilt": tilt[""], "tilt_edge": tilt["edge"]},
        }

    # Its actions.

    def _do_setaxis(self, fields: Fields) -> None:
        self.axes[fields["axis"]] = fields
        self.shaped_ms[fields["axis"]] = 0

    def _do_setshaper(self, fields: Fields) -> None:
        self.shaped_ms[fields["axis"]] = max(fields[f"delay_{number}_ms"] for number in range(1, 6))

    def _do_arm(self, fields: Fields) -> None:
        self.armed, self.state, self.cause = True, READY, 0
        self.silence_ns = fields["silence_ms"] * MS

    def _do_reference(self, fields: Fields) -> None:
        self._begin(fields, REFERENCING)
        self.known = False
        self._later(REFERENCE_NS * self.quick, self._reference_ends)

    def _reference_ends(self) -> None:
        self.motion = Motion(0, 0, (0, 0), (0, 0))
        self.error = self.zero_error if self.follows else self.error
        self.known = True
        self._finish(REFERENCED)

    def _do_move(self, fields: Fields) -> None:
        self._begin(fields, MOVING)
        here, asked = self.at, (fields["pan"], fields["tilt"])
        goal = self.miss(asked)
        took_s = max(self._seconds(b - a, axis) for axis, (a, b) in enumerate(zip(here, asked, strict=True)))
        took = round(took_s * NS * self.quick)
        if not self.follows:  # counted steps are not made, so the error grows by them
            self.error = tuple(e - (b - a) for e, a, b in zip(self.error, here, goal, strict=True))  # type: ignore[assignment]
        else:
            self._pass_switches(here, goal)
        self.motion = Motion(self.now, self.now + took, here, goal)
        self._later(took, lambda: self._finish(ARRIVED))

    def _pass_switches(self, here: tuple[int, int], goal: tuple[int, int]) -> None:
        """A switch is on from the true zero upward."""
        for axis in (0, 1):
            before, after = here[axis] + self.error[axis], goal[axis] + self.error[axis]
            if (before >= 0) is not (after >= 0):
                up = after > before
                self.edges[axis] = (self.edges[axis][0] + 1, -self.error[axis], up | (2 if up else 0))

    def _seconds(self, way: int, axis: int) -> float:
        speed, accel, way = self.axes[axis]["speed"], self.axes[axis]["accel"], abs(way)
        plain_s = way / speed + speed / accel if way * accel >= speed * speed else 2 * math.sqrt(way / accel)
        return plain_s + (self.shaped_ms[axis] / 1000 if way and self.shapes else 0)

    def _do_expose(self, fields: Fields) -> None:
        self._begin(fields, EXPOSING)
        focus, press, limit = (fields[name] * MS for name in ("focus_ms", "press_ms", "limit_ms"))
        sync = bool(self.capabilities & 1)
        if self.fires:
            self._later(focus + 20 * MS, lambda: self._open(fields))
        answered = sync and self.fires
        lasts = focus + (max(press, 80 * MS) if answered else press + limit)
        outcome = (SYNC if self.fires else NO_SYNC) if sync else BLIND
        self._later(lasts * self.hurry, lambda: self._finish(outcome))

    def _open(self, fields: Fields) -> None:
        pan, tilt = (count + error for count, error in zip(self.at, self.error, strict=True))
        still = self.now >= self.motion.end_ns
        self.truth.append(Opened(self.now, fields["frame"], fields["exposure"], (pan, tilt), still))

    def _do_stop(self, _: Fields) -> None:
        if self.obeys_stop:
            self._ramp(HOST_STOP)

    def _do_halt(self, _: Fields) -> None:
        self._ramp(HOST_HALT)
        self.known = False

    def _ramp(self, cause: int) -> None:
        if not self.armed:
            return
        self.armed, self.cause, self.state = False, cause, STOPPING
        self.due.clear()
        here = self.at
        if self.now < self.motion.end_ns:
            self.motion = Motion(self.now, self.now, here, here)
        self._later(BRAKE_NS, lambda: self._rest(cause))

    def _rest(self, cause: int) -> None:
        if self.running:
            self._finish(CUT_SHORT)
        self.state = DISARMED
        if cause != HOST_STOP:
            self.hold(cause)

    def hold(self, cause: int) -> None:
        self.notice("Held", cause=cause, pan=self.at[0], tilt=self.at[1], clock_ms=self.clock_ms)

    def _begin(self, fields: Fields, state: int) -> None:
        self.running, self.state = fields["id"], state

    def _finish(self, outcome: int) -> None:
        if not self.finishes:
            return
        self.finished, self.outcome, self.finished_ms, self.running = self.running, outcome, self.clock_ms, 0
        self.state = READY if self.armed else DISARMED
        pan, tilt = self.at
        self.notice("Finished", id=self.finished, outcome=outcome, pan=pan, tilt=tilt, clock_ms=self.clock_ms)

    def _later(self, after_ns: float, do: Callable[[], None]) -> None:
        self.due.append((self.now + round(after_ns), do))
        self.due.sort(key=lambda one: one[0])

    # The clock.

    def next_ns(self) -> int | None:
        moments = [at for at, _ in self.due[:1]]
        if self.armed:
            moments.append(self.heard_ns + self.silence_ns)
        return min(moments, default=None)

    def run_to(self, now: int) -> None:
        self.now = now
        if self.armed and now >= self.heard_ns + self.silence_ns:
            self._ramp(HOST_SILENCE)
        while self.due and self.due[0][0] <= now:
            self.due.pop(0)[1]()


class LyingPort:
    """The other end of the line to a lying board, and the clock of both."""

    def __init__(self, board: LyingBoard, stream: Callable[[int], bytes] | None = None) -> None:
        self.board, self._now = board, 0
        self._coming: list[tuple[int, bytes]] = []
        self.stream = stream  # bytes that arrive all the time, every ten milliseconds
        self._streamed = 0

    def now(self) -> int:
        return self._now

    def reopen(self) -> None:
        """Do nothing: there is nothing to open."""

    def write(self, data: bytes) -> None:
        for name, seq, fields in decode(data):
            self.board.now = self._now
            self.board.hear(name, seq, fields)
            self._collect()

    def wait_bytes(self, deadline_ns: int | None) -> bytes:
        while True:
            arrived = b"".join(data for at, data in self._coming if at <= self._now)
            self._coming = [(at, data) for at, data in self._coming if at > self._now]
            if arrived:
                return arrived
            moments = [at for at, _ in self._coming]
            moments += [at for at in (self.board.next_ns(), deadline_ns) if at is not None]
            if self.stream is not None:
                moments.append(self._streamed + 10 * MS)
            assert moments, "the host waits for ever"
            moment = max(self._now, min(moments))
            if deadline_ns is not None and moment >= deadline_ns:
                self._now = max(self._now, deadline_ns)
                return b""
            self._now = moment
            self.board.run_to(moment)
            if self.stream is not None and moment >= self._streamed + 10 * MS:
                self._streamed = moment
                self.board.sent.append(self.stream(moment))
            self._collect()

    def _collect(self) -> None:
        self._coming += [(self._now + LINE_NS, data) for data in self.board.sent if data]
        self.board.sent.clear()
