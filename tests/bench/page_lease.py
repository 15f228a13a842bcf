"""The pad's lease: the host killed, the page gone, the network cut or the tab suspended, at 200 drawn instants.

In virtual time on the simulated rig: the whole child, the protocol's bytes and the board. Each time the head must be at
rest within 0.5 s and its ramp.
"""

import tempfile
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from random import Random

from controller.capture.lease import LASTS_NS
from controller.errors import LinkLost
from protocol.units import MS, NS
from sim.incidents import Incidents
from sim.scenario import Fault, Scenario
from tests.bench.figures import Figure
from tests.controller.page.person import RENEW_NS, PadRig, lease, pad_rig

CASES = 200
READY_NS = 20 * NS
WITHIN_NS = 500 * MS
RAMP_NS = 250 * MS  # 10 deg/s at 40 deg/s2
KINDS = ("host killed", "page gone", "line cut", "network cut", "tab suspended")


@dataclass(frozen=True)
class LeaseCase:
    """What ends the touch, and when; a suspended tab sends what it had still to send `later_ms` after that."""

    kind: str
    ends_ns: int
    later_ms: int
    way: tuple[int, int]
    seed: int


def drawn_case(number: int) -> LeaseCase:
    """One case; every kind as often as the others."""
    random = Random(number)
    return LeaseCase(
        kind=KINDS[number % len(KINDS)],
        ends_ns=READY_NS + random.randrange(0, 4 * NS),
        later_ms=random.randrange(400, 4000),
        way=random.choice([(1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1)]),
        seed=number,
    )


def rig_of(case: LeaseCase) -> PadRig:
    """A rig with that case before it."""
    rig = pad_rig(case.seed, answers=[True])
    rig.person.at(NS, {"do": "zero", "sent_ns": NS})
    fault = {"host killed": "host-killed", "line cut": "line-cut"}.get(case.kind)
    if fault is not None:
        rig.rig.incidents = Incidents(Scenario("drawn", "", (Fault(fault, at_s=case.ends_ns / NS),)))
    lasts_ns = 40 * NS if fault is not None else case.ends_ns - READY_NS
    for number, sent_ns in enumerate(range(READY_NS, READY_NS + max(1, lasts_ns), RENEW_NS), 1):
        rig.person.at(sent_ns, lease(1, number, sent_ns, pan=case.way[0], tilt=case.way[1]))
    rig.person.leave(READY_NS + 50 * NS)
    if case.kind == "page gone":
        rig.person.leave(case.ends_ns)
    if case.kind == "tab suspended":  # what it had queued arrives at last, all at once
        for number in range(1000, 1010):
            later_ns = case.ends_ns + case.later_ms * MS
            rig.person.at(later_ns, lease(1, number, later_ns, pan=case.way[0], tilt=case.way[1]))
    return rig


def rest_after_ns(case: LeaseCase, folder: Path) -> int | None:
    """How long after the end of the touch the head was at rest, without its ramp; None if it never turned."""
    rig = rig_of(case)
    with suppress(LinkLost):
        rig.converse(folder)
    rig.let_pass(10 * NS)
    turns = rig.turns_since(READY_NS)
    if not turns:
        return None
    return max(0, max(end_ns for _, end_ns in turns) - RAMP_NS - case.ends_ns)


def page_lease() -> list[Figure]:
    """The longest of all, and how many were too late."""
    with tempfile.TemporaryDirectory() as folder:
        found = [rest_after_ns(drawn_case(number), Path(folder)) for number in range(CASES)]
    turned = [each for each in found if each is not None]
    return [
        Figure("pad: touches that ended in every way, of which the head turned", len(turned), "", least=0.9 * CASES),
        Figure("pad: longest from their end to the ramp's", max(turned) / NS, "s", most=WITHIN_NS / NS),
        Figure("pad: heads at rest too late", sum(each > WITHIN_NS for each in turned), "", most=0),
        Figure("pad: the lease itself", LASTS_NS / NS, "s", most=WITHIN_NS / NS),
    ]
