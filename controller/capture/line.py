"""A board's line: requests out, news in, one wait at a time.

Every conversation except the conformance rules uses it: a run and a hand through `board.BoardClient`, single questions
through `wait_reply`.
"""

from collections.abc import Callable

from controller.capture.gate import Gate
from controller.capture.port import Port
from controller.errors import WorldError
from protocol.codec import PROTOCOL_VERSION, kind_of
from protocol.host_link import Answered, HostLink, LinkEvent, Silent, Unreadable
from protocol.messages import Halt, Hello, Reason, Refused, Request, Stop, Welcome
from protocol.statistics import LinkStatistics
from protocol.units import MS, Nanos

QUIET_NS = 50 * MS
"""No more of an exchange arrives after this long."""
MAJORS = 16
"""Number of major versions that are tried on a board that refuses ours."""


class OtherVersion(WorldError):
    """The board uses another major version of the protocol; `spoken` is None if it does not say which."""

    def __init__(self, spoken: tuple[int, int] | None) -> None:
        theirs = "another one that it does not name" if spoken is None else f"{spoken[0]}.{spoken[1]}"
        ours = f"{PROTOCOL_VERSION.major}.{PROTOCOL_VERSION.minor}"
        super().__init__(
            f"The board speaks version {theirs} of the protocol, and this program {ours}; the cable is sound. "
            "Update the board's firmware or this program, so that the major versions agree."
        )


class BoardLine:
    """One board on one port. `new_link` makes a new link for each conversation.

    Commands that can start motion pass the `gate`. Without one, a shut gate refuses them all.
    """

    def __init__(self, port: Port, new_link: Callable[[], HostLink], gate: Gate | None = None) -> None:
        self._port, self._new_link = port, new_link
        self._gate = Gate(port.now, lambda *_: None) if gate is None else gate
        self._link = new_link()

    @property
    def statistics(self) -> LinkStatistics:
        """The link's counters in this conversation."""
        return self._link.statistics

    @property
    def idle(self) -> bool:
        """Whether a question can be asked now: nothing is outstanding, and the board answers."""
        return self._link.idle and not self._link.down

    def begin_again(self) -> None:
        """Begin a new conversation; nothing remains of the earlier one."""
        self._link = self._new_link()

    def send(self, request: Request) -> None:
        """Queue a request and write what is due. Raises Unannounced before people are warned."""
        self._gate.check(request)
        self._link.send(request)
        self.write()

    def send_urgent(self, request: Stop | Halt) -> None:
        """Send a stop or a halt in place of every waiting request."""
        self._link.send_urgent(request)
        self.write()

    def write(self) -> None:
        """Write what is due."""
        data = self._link.take(Nanos(self._port.now()))
        if data:
            self._port.write(data)

    def next_news(self) -> LinkEvent | None:
        """The next news from the board or the link; None if there is none."""
        return self._link.next_event()

    def wait_turn(self, deadline_ns: int | None) -> None:
        """Wait once: until bytes arrive, the link is due, the port wakes, or `deadline_ns` passes."""
        self.write()
        moments = (deadline_ns, self._link.next_deadline())
        data = self._port.wait_bytes(min((moment for moment in moments if moment is not None), default=None))
        now = Nanos(self._port.now())
        if data:
            self._link.receive(data, now)
        self._link.handle_deadline(now)

    def wait_reply(self, request: Request, patience_ns: int) -> Answered | Unreadable | None:
        """Send a request and wait for the reply; None if there is none in time."""
        if isinstance(request, Hello):
            self.begin_again()
        self.send(request)
        deadline_ns = self._port.now() + patience_ns
        while True:
            while (news := self.next_news()) is not None:
                if isinstance(news, Answered | Unreadable) and news.request is request:
                    return news
                if isinstance(news, Silent):
                    return None
            if self._port.now() >= deadline_ns:
                return None
            self.wait_turn(deadline_ns)

    def wait_quiet(self) -> None:
        """Wait until nothing more of an exchange can arrive, and drop it."""
        deadline_ns = self._port.now() + QUIET_NS
        while self._port.now() < deadline_ns:
            self.wait_turn(deadline_ns)
        while self.next_news() is not None:
            pass

    def wait_welcome(self, patience_ns: int) -> Welcome | None:
        """Greet the board; None if nothing answers in time. Raises OtherVersion."""
        nonce = self._port.now() & 0xFFFFFFFF
        answer = self.wait_reply(Hello(*PROTOCOL_VERSION, nonce), patience_ns)
        if isinstance(answer, Answered) and answer.reply == Refused(Reason.VERSION):
            for major in range(MAJORS):
                if major != PROTOCOL_VERSION.major:
                    _must_be_ours(self.wait_reply(Hello(major, 0, nonce), patience_ns))
            raise OtherVersion(None)
        _must_be_ours(answer)
        return answer.reply if isinstance(answer, Answered) and isinstance(answer.reply, Welcome) else None


def _must_be_ours(answer: Answered | Unreadable | None) -> None:
    """Raise OtherVersion for a Welcome of another major version: its first two bytes are the same in all versions."""
    spoken = None
    if isinstance(answer, Unreadable) and answer.kind == kind_of(Welcome) and len(answer.payload) >= 2:
        spoken = (answer.payload[0], answer.payload[1])
    elif isinstance(answer, Answered) and isinstance(answer.reply, Welcome):
        spoken = (answer.reply.version_major, answer.reply.version_minor)
    if spoken is not None and spoken[0] != PROTOCOL_VERSION.major:
        raise OtherVersion(spoken)
