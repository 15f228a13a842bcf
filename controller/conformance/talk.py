"""Frames to a board and back, one at a time and without the link's help: here the link's rules are what is tested."""

from collections.abc import Callable
from dataclasses import dataclass, field

from controller.capture.port import Port
from controller.errors import WorldError
from protocol.codec import PROTOCOL_VERSION, decode_message, frame_of
from protocol.errors import BadFrame
from protocol.framing import Deframer
from protocol.messages import (
    Accepted,
    Booted,
    Finished,
    Held,
    Hello,
    Index,
    Message,
    Notice,
    Refused,
    Reply,
    Request,
    Status,
    Welcome,
)
from protocol.units import MS, NO_COMMAND, BootId, CommandId

ANSWER_MS = 1000
REPLIES = (Welcome, Accepted, Refused, Status, Index)
NO_BOOT = BootId(0)


class RuleBroken(WorldError):
    """A board did not do what the specification says: what was seen, and the bytes of the exchange."""


@dataclass(slots=True)
class Talk:
    """A conversation with one board over `port`. `log` keeps every frame as hex, ours with >, the board's with <."""

    port: Port
    seq: int = 0
    boot_id: BootId = NO_BOOT
    last_id: CommandId = NO_COMMAND
    capabilities: int = 0
    max_step_rate: int = 0
    log: list[str] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    _deframer: Deframer = field(default_factory=Deframer)
    _waiting: list[tuple[int, Message]] = field(default_factory=list)

    def next_id(self) -> CommandId:
        """A command id that the board has not seen."""
        self.last_id = CommandId(self.last_id + 1)
        return self.last_id

    def send(self, request: Request, *, seq: int | None = None) -> int:
        """Send a request under the next sequence number (or `seq`) and return that."""
        if seq is None:
            self.seq = (self.seq + 1) & 0xFF
            seq = self.seq
        self.send_bytes(frame_of(request, seq))
        return seq

    def send_bytes(self, data: bytes) -> None:
        """Send bytes as they are."""
        self.log.append("> " + data.hex(" "))
        self.port.write(data)

    def wait_reply(self, seq: int, patience_ms: int = ANSWER_MS) -> Reply | None:
        """The reply with that sequence number; None when none comes in time."""
        found = self.wait_message(
            lambda at, message: at == seq and isinstance(message, Welcome | Accepted | Refused | Status | Index),
            patience_ms,
        )
        assert found is None or isinstance(found, Welcome | Accepted | Refused | Status | Index)
        return found

    def wait_notice(self, kind: type[Booted] | type[Finished] | type[Held], patience_ms: int) -> Notice | None:
        """The next notice of a kind; None when none comes in time."""
        found = self.wait_message(lambda _, message: isinstance(message, kind), patience_ms)
        assert found is None or isinstance(found, Booted | Finished | Held)
        return found

    def wait_message(self, wanted: Callable[[int, Message], bool], patience_ms: int) -> Message | None:
        """The next message that `wanted` accepts; others are put aside, notices into `notices`."""
        deadline_ns = self.port.now() + patience_ms * MS
        while True:
            for at, (seq, message) in enumerate(self._waiting):
                if wanted(seq, message):
                    del self._waiting[at]
                    return message
            if self.port.now() >= deadline_ns:
                return None
            for frame in self._deframer.feed(self.port.wait_bytes(deadline_ns)):
                self.log.append(f"< kind {frame.kind:02x} seq {frame.seq:02x} {frame.payload.hex(' ')}")
                try:
                    message = decode_message(frame.kind, frame.payload)
                except BadFrame as error:
                    raise self.broken(f"a frame that makes no sense: {error}") from None
                self._waiting.append((frame.seq, message))
                if isinstance(message, Booted | Finished | Held):
                    self.notices.append(message)

    def wait_quiet(self, quiet_ms: int) -> None:
        """Let `quiet_ms` pass and forget what came in."""
        self.wait_message(lambda *_: False, quiet_ms)
        self._waiting.clear()
        self.notices.clear()

    def wait_answer(self, request: Request) -> Reply:
        """Send a request and return its reply. Raises RuleBroken when none comes."""
        reply = self.wait_reply(self.send(request))
        if reply is None:
            raise self.broken(f"no reply to {type(request).__name__} within {ANSWER_MS} ms")
        return reply

    def wait_welcome(self, nonce: int, patience_ms: int = ANSWER_MS) -> Welcome | None:
        """Say hello; what the board says of itself is kept. None when it does not answer."""
        reply = self.wait_reply(self.send(Hello(*PROTOCOL_VERSION, nonce)), patience_ms)
        if not isinstance(reply, Welcome):
            return None
        self.boot_id, self.last_id = reply.boot_id, max(self.last_id, reply.last_command_id)
        self.capabilities, self.max_step_rate = int(reply.capabilities), reply.max_step_rate
        return reply

    def broken(self, what: str) -> RuleBroken:
        """The error for what was seen, with the latest frames."""
        return RuleBroken(what + "\n" + "\n".join(self.log[-8:]))
