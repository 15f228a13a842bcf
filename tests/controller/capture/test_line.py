"""The way to talk to a board outside a run: ask, wait, receive the answer."""

from __future__ import annotations

import pytest

from controller.capture.gate import Unannounced
from controller.capture.line import BoardLine, OtherVersion
from controller.commands.stand_in import rig_spec
from protocol.codec import encode_message, kind_of
from protocol.framing import Deframer, encode_frame
from protocol.host_link import Answered, HostLink
from protocol.messages import Arm, GetStatus, Move, Reason, Reference, Refused, Request, Status, Welcome
from protocol.units import BootId, CommandId, Nanos, Steps
from sim.rig import Rig
from sim.virtual_port import VirtualPort
from tests.end_to_end.whole_runs import kit_of

NS = 1_000_000_000
KIT = kit_of()


def line_to(port: VirtualPort) -> BoardLine:
    return BoardLine(port, lambda: HostLink(retry_ns=Nanos(NS // 5), tries=3))


def port_of_rig() -> VirtualPort:
    return VirtualPort(Rig(rig_spec(KIT, 0)))


class Canned(VirtualPort):
    """A board that answers every frame with this message, as long as `answers` last."""

    def __init__(self, kind: int, payload: bytes, answers: int = 99) -> None:
        super().__init__(Rig(rig_spec(KIT, 0)))
        self._answer, self._answers, self._deframer = (kind, payload), answers, Deframer()
        self.asked = 0

    def write(self, data: bytes) -> None:
        for frame in self._deframer.feed(data):
            self.asked += 1
            if self._answers:
                self._answers -= 1
                kind, payload = self._answer
                self._rig.to_host.send(self._now_ns, encode_frame(kind, frame.seq, payload))


def test_a_board_says_who_it_is_and_answers() -> None:
    port = port_of_rig()
    line = line_to(port)
    assert isinstance(line.wait_welcome(NS), Welcome)
    answer = line.wait_reply(GetStatus(), NS)
    assert isinstance(answer, Answered)
    assert isinstance(answer.reply, Status)
    assert line.idle
    line.wait_quiet()
    assert line.next_news() is None


@pytest.mark.parametrize("patience_ns", [NS // 4, NS, 3 * NS])
def test_where_nothing_answers_the_patience_is_the_bound(patience_ns: int) -> None:
    port = Canned(*encode_message(GetStatus()), answers=0)
    assert line_to(port).wait_welcome(patience_ns) is None
    assert port.now() <= patience_ns
    assert 1 <= port.asked <= 3


@pytest.mark.parametrize(
    "request_",
    [
        Arm(CommandId(1), BootId(1), 100),
        Reference(CommandId(1), 10, 10, 2),
        Move(CommandId(1), Steps(1), Steps(1)),
    ],
)
def test_without_a_gate_nothing_is_sent_that_can_move(request_: Request) -> None:
    port = Canned(*encode_message(GetStatus()), answers=0)
    line = line_to(port)
    line.wait_welcome(NS)
    asked = port.asked
    with pytest.raises(Unannounced):
        line.send(request_)
    with pytest.raises(Unannounced):
        line.wait_reply(request_, NS)
    assert port.asked == asked


def test_another_major_version_is_named_where_it_can_be_read() -> None:
    kind, _ = encode_message(Refused(Reason.VERSION))
    with pytest.raises(OtherVersion, match="another one that it does not name"):
        line_to(Canned(kind, encode_message(Refused(Reason.VERSION))[1])).wait_welcome(NS)
    assert line_to(Canned(kind, encode_message(Refused(Reason.BUSY))[1])).wait_welcome(NS) is None
    with pytest.raises(OtherVersion, match=r"speaks version 7\.3 "):
        line_to(Canned(kind_of(Welcome), bytes([7, 3, 0, 0, 0]))).wait_welcome(NS)
