"""`fullturn board`: find a board, check that it keeps the protocol's rules, and measure its line."""

from collections.abc import Callable

from controller.capture.gate import Gate
from controller.capture.people import People
from controller.conformance.battery import (
    RuleResult,
    wait_battery,
)
from controller.conformance.reach import Reach
from controller.conformance.talk import Talk
from controller.ports.find import Candidate, wait_candidate, wait_candidates, wait_known_board
from controller.ports.line_health import LineHealth, wait_soak
from controller.ports.serial_port import SerialPort

NOBODY_NEAR = People()


def find_command(baud: int, url: str | None = None) -> list[Candidate]:
    """All ports of this computer, or the one at `url`, and what answers at each."""
    return wait_candidates(baud) if url is None else [wait_candidate(url, baud)]


def check_command(
    url: str,
    baud: int,
    may_move: Callable[[], bool],
    tell: Callable[[RuleResult], None],
    *,
    people: People = NOBODY_NEAR,
    reach: Reach | None = None,
) -> list[RuleResult]:
    """Run the battery on the board at `url`; see `wait_battery`. Raises LinkLost, WorldError."""
    with SerialPort(url, baud) as port:
        wait_known_board(port)
        gate = Gate.of(people, port.now)
        return wait_battery(Talk(port, reach=reach or Reach(), gate=gate), may_move, tell, people.lead_ns)


def soak_command(url: str, baud: int, seconds: float) -> LineHealth:
    """Ask for the status as fast as answers come, for `seconds`. Raises LinkLost, WorldError."""
    with SerialPort(url, baud) as port:
        wait_known_board(port)
        return wait_soak(port, baud, seconds)
