"""The protocol: its speed, its overhead, and the cost of a bad line."""

import tempfile
from pathlib import Path

from protocol.board_link import BoardLink
from protocol.host_link import Answered, HostLink
from protocol.messages import GetStatus
from protocol.units import NS, BootId, Nanos
from tests.bench.figures import Figure, full_frame_kit, work_s
from tests.protocol.bad_wire import hello, status, welcome
from tests.protocol.rates import fuzz, message_rate

EXCHANGES = 5_000
FLOOD_BYTES = 10**7
BOOT = BootId(1)


def exchange_ms() -> float:
    """The time that one question and its answer cost this computer besides waiting, both ends of the line together."""
    host, board, now = HostLink(retry_ns=Nanos(10**9), tries=3), BoardLink(), Nanos(0)

    def exchange() -> None:
        board.receive(host.take(now), now)
        item = board.next_request()
        assert item is not None
        seq, request = item
        board.reply(seq, status(BOOT) if isinstance(request, GetStatus) else welcome(1, BOOT))
        host.receive(board.take(), now)
        assert isinstance(host.next_event(), Answered)

    host.send(hello(1))
    exchange()

    def many() -> None:
        for _ in range(EXCHANGES):
            host.send(GetStatus())
            exchange()

    return work_s(many)[0] / EXCHANGES * 1000


def wire() -> list[Figure]:
    """Rates, and a flood of noise and damaged frames."""
    rate = max(message_rate() for _ in range(3))
    counts = fuzz(FLOOD_BYTES, 1)
    unsent = counts.unsent_from_damage + counts.unsent_from_noise
    return [
        Figure("messages to the wire and back", rate, "/s", least=40_000),
        Figure("an exchange, both ends", exchange_ms(), "ms", most=1.0),
        Figure("flood: bytes fed", counts.fed, "", least=FLOOD_BYTES),
        Figure("flood: damaged frames in it", counts.damaged, ""),
        Figure("flood: intact frames in it", counts.intact, ""),
        Figure("flood: intact frames not heard", max(0, counts.intact - counts.heard), "", most=0),
        Figure("flood: frames accepted that nobody sent", unsent, "", most=0),
        Figure("flood: longest begun frame kept", counts.longest_tail, "bytes", most=39),
        Figure("flood: longest queue", counts.longest_queue, "entries", most=64),
    ]


def troubled() -> list[Figure]:
    """A sphere of 181 frames x 3 over a line that damages bytes, and over one that fails."""
    from controller.planning.make import make_plan
    from sim.scenario import Fault
    from sim.wire import SOUND, LineTrouble
    from tests.end_to_end.troubled_lines import World

    plan = make_plan(full_frame_kit(70, brackets=3), 0.30)

    def run(trouble: LineTrouble, *faults: Fault) -> tuple[World, float]:
        world = World(plan, trouble, *faults)
        with tempfile.TemporaryDirectory() as folder:
            result, summary = world.run(Path(folder))
        if not faults:
            world.check(summary)  # the set is complete, and truth and session agree
        return world, result.seconds

    sound_s = run(SOUND)[1]

    def moving_on_s(dead_s: float) -> float:
        head = run(SOUND, Fault("line-cut", at_s=dead_s))[0].rig.head
        return max(0.0, max(head.pan.motion.end_ns, head.tilt.motion.end_ns) / NS - dead_s)

    moments = [100 + i * 0.137 for i in range(30)]
    return [
        Figure(f"{len(plan.frames)} frames x 3 over a sound line", sound_s, "s"),
        Figure("1 byte in 1000 damaged: longer by", 100 * (run(LineTrouble(1e-3))[1] / sound_s - 1), "%", most=5),
        Figure("1 byte in 100 damaged: longer by", 100 * (run(LineTrouble(1e-2))[1] / sound_s - 1), "%"),
        Figure(
            f"line dead: head at rest within, worst of {len(moments)}",
            max(map(moving_on_s, moments)),
            "s",
            most=plan.kit.board.silence_ms / 1000 + 2,
        ),
    ]
