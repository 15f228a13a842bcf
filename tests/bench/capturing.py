"""Unattended capture: kills, the host's share of an exposure, the delay of a stop, long series."""

import os
import random
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import Any

from controller.capture.events import EventKind, Wanted
from controller.capture.interrupts import Interrupts
from controller.capture.operator import Operator
from controller.capture.people import People
from controller.capture.port import Port
from controller.capture.pulse import Pulse
from controller.capture.runner import Runner
from controller.capture.seen import Seen
from controller.commands.stand_in import rig_spec
from controller.kit.kit import Kit
from controller.planning.make import make_plan
from controller.planning.plan import Frame
from controller.ports.serial_port import SerialPort
from controller.program.build import build_program
from controller.program.program import Program
from controller.session.rows import Happening, Intent, ShotOutcome
from controller.session.session import Session
from protocol.units import NS
from sim.rig import NOTHING, Rig
from sim.scenario import library
from sim.serve import RealTime
from sim.terminal import Terminal
from sim.virtual_port import VirtualPort
from tests.bench.figures import Figure, speed, work_s
from tests.end_to_end.kills import capture_with_kills, sphere_of
from tests.end_to_end.test_people import drawn_world
from tests.end_to_end.whole_runs import few_frames, kit_of

FAST = {"max_speed_deg_s": 60.0, "max_accel_deg_s2": 400.0}
# A camera and a line that need almost no time, so that the host's share shows.
QUICK: dict[str, dict[str, Any]] = {
    "exposure": {
        "shutter_seconds": 0.01, "bracket_ev": [0.0] * 15,
        "focus_ms": 0, "press_ms": 20, "release_lag_ms": 10.0, "ready_ms": 20.0,
    },
    "board": {"baud": 1_000_000},
    "head": {"settle_ms": 100, "pan": FAST, "tilt": FAST},
}  # fmt: skip
STOPS = 8
PEOPLE = 150
MANY = 100_000
SPHERES_A_WEEK = 7 * 24 * 4
EARLY = 60  # spheres after which everything that is kept has been made


def killing() -> list[Figure]:
    """Kills at every effect of a plain capture, and twice with each fault of the library."""
    plan = sphere_of(40)
    outcomes = []
    with tempfile.TemporaryDirectory() as folder:
        for first in range(25):
            outcomes.append(capture_with_kills(plan, NOTHING, first, _new(folder)))
        for scenario in library().values():
            outcomes += [capture_with_kills(plan, scenario, first, _new(folder)) for first in (7, 19)]
    worst = max((one.twice - one.retaken) / one.kills for one in outcomes)
    return [
        Figure("kills in 40 frames of three exposures", sum(one.kills for one in outcomes), "", least=2000),
        Figure("... sets not complete after resuming", sum(not one.complete for one in outcomes), "", most=0),
        Figure("... claimed and not made, or astray", sum(len(one.wrong) for one in outcomes), "", most=0),
        Figure("... exposures made twice for each kill, worst run", worst, "", most=1),
    ]


def attended() -> list[Figure]:
    """Whole captures, resumed until they are complete, with a person beside the head and faults."""
    steps = runs = complete = 0
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(1000, 1000 + PEOPLE):
            world = drawn_world(seed, _new(folder))
            complete += world.capture()
            runs += len(world.ends)
            steps += world.person.unannounced_steps
    return [
        Figure(f"runs of {PEOPLE} sets with a person beside the head", runs, "", least=PEOPLE),
        Figure("... steps within reach of somebody not told in time", steps, "", most=0),
        Figure("... sets complete at last", complete / PEOPLE * 100, "%", least=90),
    ]


def _new(folder: str) -> Path:
    return Path(tempfile.mkdtemp(dir=folder))


@contextmanager
def served(kit: Kit) -> Iterator[tuple[Rig, RealTime, SerialPort]]:
    """A simulated rig in real time behind a pseudo-terminal, and the port opened on it."""
    rig, over = Rig(rig_spec(kit, 1)), threading.Event()
    with Terminal() as line:
        world = RealTime(rig, line)
        thread = threading.Thread(target=world.serve, args=(over.is_set,))
        thread.start()
        try:
            with SerialPort(line.path, kit.board.baud) as port:
                yield rig, world, port
        finally:
            over.set()
            thread.join()


@contextmanager
def unwatched() -> Iterator[Session]:
    """A session of its own that nobody looks at."""
    with tempfile.TemporaryDirectory() as folder, Session.create(Path(folder) / "s.sqlite", {}, durable=True) as session:
        yield session


Sessions = Callable[[], AbstractContextManager[Session]]


def on_the_line() -> list[Figure]:
    """Over a pseudo-terminal, in real time."""
    waits = [stop_ms(seed) for seed in range(STOPS)]
    return [
        Figure("what the host adds to an exposure, median", added_ms(), "ms", most=5),
        Figure("from stop to the first step of the ramp, median", median(waits), "ms", most=50),
        Figure("... the longest", max(waits), "ms", most=50),
    ]


def _run_as_a_command(program: Program, port: Port, session: Session) -> None:
    """Run with everything that a command writes to the session for windows elsewhere."""

    def poll() -> Wanted | None:
        pulse.tick(port.now())
        return operator.next_request()

    seen = Seen(program, port.now(), 0, len(program.exposures))

    def change(happening: Happening) -> None:
        seen.take(happening)
        pulse.change(happening)

    with Interrupts() as interrupts:
        operator = Operator(port.now, interrupts, People(), session)
        runner = Runner(program, port, session, poll, on_exposure=seen.exposed, on_change=change)
        pulse = Pulse(session, seen, runner)
        runner.run()


def written() -> list[Figure]:
    """What a run writes in an hour, as statements: those that wait for the disk, and the figures, which do not."""
    kit, waiting, unsynced = kit_of(24.0), [0], [0]
    port = VirtualPort(Rig(rig_spec(kit, 1)))

    def count(statement: str) -> None:
        if statement.startswith(("INSERT", "UPDATE", "DELETE")):
            (unsynced if " pulse " in statement or " happenings " in statement else waiting)[0] += 1

    with (
        tempfile.TemporaryDirectory() as folder,
        Session.create(Path(folder) / "s.sqlite", {}, durable=True) as session,
    ):
        session._db.set_trace_callback(count)
        before = _bytes_written()
        _run_as_a_command(build_program(kit, make_plan(kit, 0.3).frames), port, session)
        written_bytes, exposures = _bytes_written() - before, len(session.shots())
    hours = port.now() / NS / 3600
    return [
        Figure("writes in an hour of a run that wait for the disk", waiting[0] / hours, "", most=4_000),
        Figure("... that do not wait: figures for windows, changes of state", unsynced[0] / hours, "", most=8_000),
        # Its intent and its outcome must be on the disk; the rest is for the checks of zero and for sentences.
        Figure("writes that wait for the disk, for each exposure", waiting[0] / exposures, "", most=2.5),
        Figure("... bytes written, for each exposure", written_bytes / exposures / 1000, "kB", most=80),
    ]


def _bytes_written() -> int:
    """What this process has handed to the system so far (proc(5), io); 0 where that is not known."""
    try:
        with open("/proc/self/io", encoding="ascii") as file:
            return next(int(line.split()[1]) for line in file if line.startswith("wchar"))
    except OSError:
        return 0


def added_ms(sessions: Sessions = unwatched) -> float:
    """Milliseconds that the host adds to an exposure, median of a short run."""
    kit = kit_of(24.0, **QUICK)
    camera = kit.exposure
    needed_ms = camera.focus_ms + max(camera.press_ms, camera.release_lag_ms + camera.shutter_seconds * 1000)
    with served(kit) as (_, _, port), sessions() as session:
        _run_as_a_command(build_program(kit, few_frames()), port, session)
        shots = session.shots()
    return median(
        (b.board_clock_ms - a.board_clock_ms) - needed_ms - camera.ready_ms
        for a, b in pairwise(shots)
        if a.intent.frame == b.intent.frame and a.board_clock_ms is not None and b.board_clock_ms is not None
    )


def stop_ms(seed: int, sessions: Sessions = unwatched) -> float:
    """Milliseconds from the request to stop, during a long move, to the beginning of the ramp."""
    kit = kit_of(board={"baud": 1_000_000}, head={"pan": FAST, "tilt": FAST})
    program = build_program(kit, (Frame(id=0, row=0, yaw_deg=300.0, pitch_deg=0.0),))
    moving, wanted_ns, requests = threading.Event(), 0, [Wanted(EventKind.STOP)]

    def request() -> Wanted | None:
        return requests.pop() if requests and wanted_ns and time.monotonic_ns() >= wanted_ns else None

    def press() -> None:
        nonlocal wanted_ns
        moving.wait()
        wanted_ns = time.monotonic_ns() + random.Random(seed).randrange(300_000_000, 400_000_000)

    thread = threading.Thread(target=press)
    thread.start()
    with served(kit) as (rig, world, port), sessions() as session:
        Runner(
            program, port, session, request, on_change=lambda now: moving.set() if now.state == "moving" else None
        ).run()
        began_ns = world._begin_ns + rig.head.pan.motion.begin_ns
    thread.join()
    return (began_ns - wanted_ns) / 1e6


def week() -> list[Figure]:
    """A week of spheres."""
    early, late = _week()
    return [Figure(f"memory gained in a week of spheres ({SPHERES_A_WEEK})", late - early, "MB", most=5)]


def large_session() -> list[Figure]:
    """A session of a hundred thousand exposures."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "s.sqlite"
        with Session.create(path, {}, durable=False) as session:
            for number in range(1, MANY + 1):
                session.intend(Intent(number // 3, number % 3, 1, number, 0.0, 0.0, 0.01), number)
                session.conclude(number, ShotOutcome.CONFIRMED, number, None)
        seconds, _ = work_s(lambda: _opened(path))
    # SQLite goes through all rows three times: its own check, ours, and which were made. Measured: 4.
    return [speed(f"opening a session of {MANY} exposures", seconds, 6)]


def _opened(path: Path) -> int:
    with Session.open(path) as session:
        return len(session.made()) + session.next_command_id()


def _week() -> tuple[float, float]:
    """Megabytes after the first spheres and after the last; one world, one host, one session for each sphere."""
    kit = kit_of(12.0)
    frames = few_frames()
    rig = Rig(rig_spec(kit, 1))
    port, early = VirtualPort(rig), 0.0
    with tempfile.TemporaryDirectory() as folder:
        for number in range(SPHERES_A_WEEK):
            path = Path(folder) / "s.sqlite"
            with Session.create(path, {}, durable=False) as session:
                assert Runner(build_program(kit, frames), port, session).run().complete
            path.unlink()
            rig.truth.exposures.clear()
            end_ns = (number + 1) * 900 * NS
            while port.now() < end_ns:
                port.wait_bytes(end_ns)
            if number == EARLY:
                early = _resident_mb()
    return early, _resident_mb()


def _resident_mb() -> float:
    with open("/proc/self/statm", encoding="ascii") as statm:
        return int(statm.read().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6
