"""`fullturn board listen`: what is said on a line, decoded, for as long as somebody looks."""

from collections.abc import Callable
from typing import BinaryIO

from controller.capture.port import Port
from controller.ports.serial_port import SerialPort
from controller.ports.traffic import Heard, Traffic, TrafficSummary
from protocol.codec import PROTOCOL_VERSION, frame_of
from protocol.messages import GetStatus, Hello
from protocol.units import NS

ASK_NS = NS
CHUNK = 4096

Show = Callable[[Heard], None]


def listen_command(url: str, baud: int, *, tap: bool, show: Show) -> TrafficSummary:
    """Print the traffic at `url` until Ctrl-C; unless it is a tap, ask the board once a second. Raises LinkLost."""
    with SerialPort(url, baud) as port:
        return wait_traffic(port, asks=not tap, show=show)


def wait_traffic(port: Port, *, asks: bool, show: Show) -> TrafficSummary:
    """Show what comes in at `port`, and what goes out if it `asks`; return what was counted when interrupted."""
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


def decode_command(file: BinaryIO, show: Show) -> TrafficSummary:
    """Show what is in a file of recorded bytes; of when it was said nothing is known."""
    traffic = Traffic()
    while data := file.read(CHUNK):
        for one in traffic.feed(data, None):
            show(one)
    for one in traffic.close():
        show(one)
    return traffic.summary


def _together(heard: TrafficSummary, said: TrafficSummary) -> TrafficSummary:
    return TrafficSummary(
        heard.read_bytes + said.read_bytes,
        heard.host + said.host,
        heard.board + said.board,
        heard.damaged + said.damaged,
    )
