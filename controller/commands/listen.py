"""`fullturn board listen`: show the traffic on a line, decoded, until interrupted."""

from typing import BinaryIO

from controller.ports.listening import CHUNK, Show, wait_traffic
from controller.ports.serial_port import SerialPort
from controller.ports.traffic import Traffic, TrafficSummary


def listen_command(url: str, baud: int, *, tap: bool, show: Show) -> TrafficSummary:
    """Print the traffic at `url` until Ctrl-C; unless it is a tap, ask the board once a second. Raises LinkLost."""
    with SerialPort(url, baud) as port:
        return wait_traffic(port, asks=not tap, show=show)


def decode_command(file: BinaryIO, show: Show) -> TrafficSummary:
    """Show what is in a file of recorded bytes; the times are unknown."""
    traffic = Traffic()
    while data := file.read(CHUNK):
        for one in traffic.feed(data, None):
            show(one)
    for one in traffic.close():
        show(one)
    return traffic.summary
