"""Showing the traffic on a line, decoded, until interrupted."""

from collections.abc import Callable

from controller.capture.port import Port
from controller.ports.traffic import Heard, Traffic, TrafficSummary
from protocol.codec import PROTOCOL_VERSION, frame_of
from protocol.messages import GetStatus, Hello
from protocol.units import NS

ASK_NS = NS
CHUNK = 4096
Show = Callable[[Heard], None]


def wait_traffic(port: Port, *, asks: bool, show: Show) -> TrafficSummary:
    """Show what arrives at `port`, and what is sent if it `asks`; return the counts when interrupted."""
    heard, said = Traffic(), Traffic()
    begin = port.now()
    ask_ns, seq = begin, 0

    def feed(traffic: Traffic, data: bytes) -> None:
        for one in traffic.feed(data, (port.now() - begin) / NS):
            show(one)

    try:
        while True:
            if asks and port.now() >= ask_ns:
                request = GetStatus() if seq else Hello(*PROTOCOL_VERSION, nonce=begin & 0xFFFFFFFF)
                wire = frame_of(request, seq & 0xFF)
                port.write(wire)
                feed(said, wire)
                seq, ask_ns = seq + 1, ask_ns + ASK_NS
            feed(heard, port.wait_bytes(ask_ns if asks else None))
    except KeyboardInterrupt:
        pass
    for one in heard.close():
        show(one)
    return _together(heard.summary, said.summary)


def _together(heard: TrafficSummary, said: TrafficSummary) -> TrafficSummary:
    return TrafficSummary(
        heard.read_bytes + said.read_bytes,
        heard.host + said.host,
        heard.board + said.board,
        heard.damaged + said.damaged,
    )
