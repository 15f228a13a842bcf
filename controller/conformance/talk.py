"""Raw frames to a board and back, one at a time and without the link: here its rules are what is tested."""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

from controller.capture.gate import Gate
from controller.capture.line import MAJORS, OtherVersion
from controller.capture.port import Port
from controller.conformance.reach import Reach
from controller.errors import WorldError
from protocol.codec import PROTOCOL_VERSION, decode_message, frame_of, kind_of
from protocol.errors import BadFrame
from protocol.framing import CheckedFrame, Deframer
from protocol.messages import (
    Accepted,
    Booted,
    Finished,
    Held,
    Hello,
    Index,
    Message,
    Notice,
    Reason,
    Refused,
    Reply,
    Request,
    Status,
    Welcome,
)
from protocol.units import MS, NO_COMMAND, NS, BootId, CommandId, is_after, next_id

ANSWER_MS = 1000
WELCOME = kind_of(Welcome)
NO_BOOT = BootId(0)
KEPT_FRAMES = 256


class RuleBroken(WorldError):
    """A board violated the specification: what was observed, and the bytes of the exchange."""


class NotChecked(WorldError):
    """A rule could not be checked, through no fault of the board."""


@dataclass(slots=True)
class Talk:
    """A conversation with one board over `port`. `log` keeps the latest frames as hex, ours with >, the board's with <.

    `reach` limits the search for zero. `clock_ms` is the board's clock in the latest Status.
    """

    port: Port
    seq: int = 0
    boot_id: BootId = NO_BOOT
    last_id: CommandId = NO_COMMAND
    capabilities: int = 0
    max_step_rate: int = 0
    version: tuple[int, int] = PROTOCOL_VERSION
    reach: Reach = field(default_factory=Reach)
    gate: Gate = field(default_factory=Gate.of_simulation)
    clock_ms: int | None = None
    rebooted: BootId | None = None
    zero_is_missing: bool = False
    zero_is_found: bool = False
    log: deque[str] = field(default_factory=lambda: deque(maxlen=KEPT_FRAMES))
    notices: deque[Notice] = field(default_factory=lambda: deque(maxlen=KEPT_FRAMES))
    _deframer: Deframer = field(default_factory=Deframer)
    _waiting: deque[tuple[int, Message]] = field(default_factory=lambda: deque(maxlen=KEPT_FRAMES))
    _over_ns: int | None = None
    _total_s: float = 0.0

    def begin(self, total_s: float) -> None:
        """Limit all waits from now on to this total, in seconds."""
        self._over_ns, self._total_s = self.port.now() + round(total_s * NS), total_s

    def next_id(self) -> CommandId:
        """A command id that the board has not seen."""
        self.last_id = next_id(self.last_id)
        return self.last_id

    def send(self, request: Request, *, seq: int | None = None) -> int:
        """Send a request with the next sequence number (or `seq`) and return that number."""
        self.gate.check(request)
        if seq is None:
            self.seq = (self.seq + 1) & 0xFF
            seq = self.seq
        self.send_bytes(frame_of(request, seq))
        return seq

    def send_bytes(self, data: bytes) -> None:
        """Send bytes unchanged."""
        self.log.append("> " + data.hex(" "))
        self.port.write(data)

    def wait_reply(self, seq: int, patience_ms: int = ANSWER_MS) -> Reply | None:
        """The reply with that sequence number; None if none comes in time."""
        found = self.wait_message(
            lambda at, message: at == seq and isinstance(message, Welcome | Accepted | Refused | Status | Index),
            patience_ms,
        )
        assert found is None or isinstance(found, Welcome | Accepted | Refused | Status | Index)
        return found

    def wait_notice(self, kind: type[Booted] | type[Finished] | type[Held], patience_ms: int) -> Notice | None:
        """The next notice of a type; None if none comes in time."""
        found = self.wait_message(lambda _, message: isinstance(message, kind), patience_ms)
        assert found is None or isinstance(found, Booted | Finished | Held)
        return found

    def wait_message(self, wanted: Callable[[int, Message], bool], patience_ms: int) -> Message | None:
        """The next message that `wanted` accepts; others are kept for later, notices also in `notices`."""
        deadline_ns = self.port.now() + patience_ms * MS
        if self._over_ns is not None and self.port.now() >= self._over_ns:
            raise self.broken(f"the board answers, but this is not done after {self._total_s:.0f} s")
        while True:
            for at, (seq, message) in enumerate(self._waiting):
                if wanted(seq, message):
                    del self._waiting[at]
                    return message
            if self.port.now() >= deadline_ns:
                return None
            for frame in self._deframer.feed(self.port.wait_bytes(deadline_ns)):
                self.log.append(f"< kind {frame.kind:02x} seq {frame.seq:02x} {frame.payload.hex(' ')}")
                message = self._understand(frame)
                self._waiting.append((frame.seq, message))
                if isinstance(message, Booted | Finished | Held):
                    self.notices.append(message)
                if isinstance(message, Booted):
                    self.rebooted = message.boot_id

    def _understand(self, frame: CheckedFrame) -> Message:
        # A Welcome begins with the same bytes in all versions, whatever follows.
        if frame.kind == WELCOME and len(frame.payload) >= 2 and frame.payload[0] != PROTOCOL_VERSION.major:
            raise OtherVersion((frame.payload[0], frame.payload[1]))
        try:
            return decode_message(frame.kind, frame.payload)
        except BadFrame as error:
            raise self.broken(f"a frame that makes no sense: {error}") from None

    def wait_quiet(self, quiet_ms: int) -> None:
        """Wait `quiet_ms` and discard what arrives."""
        self.wait_message(lambda *_: False, quiet_ms)
        self._waiting.clear()
        self.notices.clear()

    def wait_answer(self, request: Request) -> Reply:
        """Send a request and return its reply. Raises RuleBroken if none comes."""
        reply = self.wait_reply(self.send(request))
        if reply is None:
            raise self.broken(f"no reply to {type(request).__name__} within {ANSWER_MS} ms")
        return reply

    def wait_welcome(self, nonce: int, patience_ms: int = ANSWER_MS) -> Welcome | None:
        """Greet the board and keep its Welcome. None if it does not answer. Raises OtherVersion."""
        reply = self.wait_reply(self.send(Hello(*PROTOCOL_VERSION, nonce)), patience_ms)
        if reply == Refused(Reason.VERSION):
            self._wait_version(nonce, patience_ms)
        if not isinstance(reply, Welcome):
            return None
        if reply.boot_id != self.boot_id:  # another boot restarts its ids and its clock
            self.boot_id, self.last_id, self.clock_ms = reply.boot_id, reply.last_command_id, None
        elif is_after(reply.last_command_id, self.last_id):
            self.last_id = reply.last_command_id
        self.version = (reply.version_major, reply.version_minor)
        self.capabilities, self.max_step_rate = int(reply.offers), reply.max_step_rate
        return reply

    def _wait_version(self, nonce: int, patience_ms: int) -> None:
        """Find the major version of a board that refuses ours. Raises OtherVersion."""
        for major in range(MAJORS):
            if major != PROTOCOL_VERSION.major:
                self.wait_reply(self.send(Hello(major, 0, nonce)), patience_ms)
        raise OtherVersion(None)

    def broken(self, what: str) -> RuleBroken:
        """The error for an observation, with the latest frames."""
        return RuleBroken(what + "\n" + "\n".join(list(self.log)[-8:]))
