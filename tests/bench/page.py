"""The page: how soon a press reaches the board and a change is on the page, and what devices that watch cost.

A browser, the page, the run and the rig are processes or threads of this machine, over its loopback; a radio network
adds its own delay.
"""

import os
import random
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from statistics import median

from playwright.sync_api import Browser

from controller import clock
from controller.commands.stand_in import rig_spec
from controller.kit.load import load_kit
from controller.lock import in_use, lock_of, sole_use
from controller.session.rows import CAPTURE, Happening, Intent, Moment, RunReason, ShotOutcome
from controller.session.session import Session
from protocol.codec import decode_message
from protocol.framing import Deframer
from protocol.messages import Stop
from sim.rig import Rig
from sim.serve import RealTime
from sim.terminal import Terminal
from tests.bench.capturing import STOPS, added_ms, stop_ms
from tests.bench.figures import Figure
from tests.controller.commands.simulated import PATIENT, environment
from tests.page_rig import KIT_FILE, PORT, PageProcess, folder_of_work, fullturn, page_of, until
from tests.page_views import Window, lone_browser, paired, received_bytes

DEVICES = 5
PRESSES, STOPPED, CHANGES = 30, 6, 40
PACE_S = 0.5  # between two changes of a run: as often as those of a short lens
CPU_S, FAST_S, FEW, MANY = 30.0, 0.085, 100, 1500
FRAME_EVERY = 4  # changes
STAMPS = """() => {
  window.pressed = [];
  window.shown = {};
  const now = () => performance.timeOrigin + performance.now();
  addEventListener("click", () => window.pressed.push(now()), { capture: true });
  const doing = document.getElementById("doing");
  new MutationObserver(() => { window.shown[doing.textContent] ??= now(); })
    .observe(doing, { childList: true, characterData: true, subtree: true });
}"""


def page() -> list[Figure]:
    """All figures of the page."""
    with tempfile.TemporaryDirectory() as holding:
        folder = Path(holding).resolve() / "spheres"
        folder.mkdir()
        (folder / KIT_FILE).write_text(PATIENT, encoding="utf-8")
        planned = fullturn(folder, "plan", KIT_FILE, "--out", "plan.json", "--floor=-45")
        assert planned.returncode == 0, planned.stderr
        with folder_of_work(folder), page_of(folder) as served:
            with lone_browser() as browser:
                seen = _presses(folder, served, browser) + _changes(folder, served, browser)
            return seen + _watchers(folder, served)


class WatchedWire(RealTime):
    """A rig in real time that notes when a request to stop arrives, in seconds of the host's time of day."""

    def __init__(self, rig: Rig, line: Terminal) -> None:
        super().__init__(rig, line)
        self.stopped_s: list[float] = []
        deframer, read = Deframer(), line.read

        def noting() -> bytes:
            data = read()
            for frame in deframer.feed(data):
                if isinstance(decode_message(frame.kind, frame.payload), Stop):
                    self.stopped_s.append(time.time())
            return data

        line.read = noting  # type: ignore[method-assign]


@contextmanager
def _watched_rig(folder: Path) -> Iterator[WatchedWire]:
    over = threading.Event()
    with Terminal(folder / PORT) as line:
        wire = WatchedWire(Rig(rig_spec(load_kit(folder / KIT_FILE), 1)), line)
        thread = threading.Thread(target=wire.serve, args=(over.is_set,))
        thread.start()
        try:
            yield wire
        finally:
            over.set()
            thread.join()


def _presses(folder: Path, served: PageProcess, browser: Browser) -> list[Figure]:
    """From a click to the run that has read it, and to the request on the wire."""
    session, detached = folder / "pressed.sqlite", ("--yes", "--countdown", "0", "--skip-sweep", "--detach")
    with _watched_rig(folder) as wire, paired(browser, served) as window:
        begun = fullturn(folder, "capture", "plan.json", "--port", PORT, "--out", session.name, *detached)
        assert begun.returncode == 0, begun.stderr
        _show(window, session)
        read = _read_after_press(window, session)
        waits = []
        for number in range(STOPPED):
            if number:
                until("the end of a run", lambda: not in_use(session))
                begun = fullturn(folder, "resume", session.name, *detached)
                assert begun.returncode == 0, begun.stderr
            waits.append(_wire_after_press(window, wire))
    return [
        Figure("from a press to the run that has read it, median", median(read), "ms", most=150),
        Figure("from a press to its request on the wire, median", median(waits), "ms", most=150),
        Figure("... the longest", max(waits), "ms"),
    ]


def _show(window: Window, session: Path) -> None:
    window.open(f"/?session={session.name}")
    window.page.evaluate(STAMPS)


def _read_after_press(window: Window, session: Path) -> list[float]:
    """Milliseconds for each of a number of presses: pause, and again while it is paused."""
    page, waits = window.page, []
    page.locator("[data-tell=pause]:enabled").wait_for()
    with Session.open(session) as reading:
        for number in range(1, PRESSES + 1):
            page.evaluate("document.querySelector('[data-tell=pause]').click()")
            while not reading.is_taken(number):
                time.sleep(0.001)
            read_s = time.time()
            waits.append(read_s * 1000 - page.evaluate("window.pressed.at(-1)"))
    page.get_by_role("button", name="Go on").click()
    return waits


def _wire_after_press(window: Window, wire: WatchedWire) -> float:
    """Milliseconds from a press of "stop", while the head turns, to the request on the wire."""
    page, before = window.page, len(wire.stopped_s)
    page.locator("#doing", has_text="Turning").wait_for()
    page.locator("[data-tell=stop]:enabled").click()
    until("a request to stop on the wire", lambda: len(wire.stopped_s) > before)
    return float(wire.stopped_s[before] * 1000 - page.evaluate("window.pressed.at(-1)"))


@contextmanager
def _played(folder: Path, name: str) -> Iterator[Session]:
    """The session of a capture that a writer plays, as if a run were under way."""
    path = folder / f"{name}.sqlite"
    about = {"kind": CAPTURE, "plan": (folder / "plan.json").read_text(encoding="utf-8"), "port": PORT}
    with sole_use(lock_of(path), str(path), "playing"), Session.create(path, about, durable=True) as session:
        session.begin_run(RunReason.BEGUN, Moment(clock.monotonic_ns(), clock.wall_time()))
        yield session


def _play(session: Session, number: int) -> str:
    """Write one change, and each few of them an exposure. Returns what the page then says."""
    frame = number // FRAME_EVERY
    state, words = (("moving", f"Turning to frame {number}."), ("exposing", f"Exposing frame {number}."))[number % 2]
    if number % FRAME_EVERY == 0:
        command = session.next_command_id()
        session.intend(Intent(frame % 12, frame // 12 % 2, 1, command, 0.0, 0.0, 0.01), clock.monotonic_ns())
        session.conclude(command, ShotOutcome.CONFIRMED, clock.monotonic_ns(), None)
    session.note(Happening(clock.monotonic_ns(), state, "played", number))
    return words


def _changes(folder: Path, served: PageProcess, browser: Browser) -> list[Figure]:
    """From the session's write to the page, and what a first visit weighs."""
    phases = random.Random(1)
    with _played(folder, "changed") as session, paired(browser, served) as window:
        _show(window, session.path)
        written = {}
        for number in range(CHANGES):
            words = _play(session, number)
            written[words] = time.time() * 1000
            window.page.wait_for_timeout(phases.uniform(150, 350))
        until("the last change", lambda: window.page.evaluate("words => window.shown[words]", words))
        shown = window.page.evaluate("window.shown")
        weight = received_bytes(window.page, f"{window.address}/?session={session.path.name}")
    late = [shown[words] - at for words, at in written.items() if words in shown]
    return [
        Figure("from a change of the run to the page, median", median(late), "ms", most=300),
        Figure("... changes that were never shown", CHANGES - len(late), "", most=0),
        Figure("first view of a run", weight / 1000, "kB", most=200),
    ]


@contextmanager
def _devices(served: PageProcess, session: Path) -> Iterator[None]:
    """Five streams of a paired device, read by a process of their own; each must have been sent something."""
    cookie = _paired_cookie(served)
    path = f"/run/{session.name}/events"
    command = [sys.executable, "-m", "tests.bench.page_devices", str(served.port), path, cookie, str(DEVICES)]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment()
    ) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        assert process.stdout.readline() == "watching\n"
        yield
        process.stdin.close()
        received = [int(each) for each in process.stdout.read().split()]
        assert len(received) == DEVICES, received
        assert min(received) > 2, received


def _paired_cookie(served: PageProcess) -> str:
    import httpx

    answer = httpx.post(
        f"{served.address}/pair", json={"key": served.key("look_on_key")}, headers={"Origin": served.address}
    )
    served.used()
    return "; ".join(f"{name}={value}" for name, value in answer.cookies.items())


def _watchers(folder: Path, served: PageProcess) -> list[Figure]:
    """What five devices that watch cost the page, and the run."""
    with _played(folder, "hour") as session, _devices(served, session.path):
        numbers = count()
        cpu = _cpu_share(served, lambda: _play(session, next(numbers)))
        memory = []
        for number in range(MANY + 1):
            _play(session, next(numbers))
            time.sleep(FAST_S)
            if number in {FEW, MANY}:
                memory.append(_resident_mb(served.pid))
    alone, watched = _host(folder, served)
    return [
        Figure(f"processor of the page, {DEVICES} devices, a change each {PACE_S:g} s", cpu, "cores", most=0.1),
        Figure(f"memory gained by {MANY - FEW} changes with {DEVICES} devices", memory[1] - memory[0], "MB", most=5),
        Figure(f"what the host adds to an exposure, {DEVICES} devices watching", watched[0], "ms", most=5),
        Figure("... against none", watched[0] - alone[0], "ms more", most=1),
        Figure(f"from stop to the first step of the ramp, {DEVICES} devices watching", watched[1], "ms", most=50),
        Figure("... against none", watched[1] - alone[1], "ms more", most=10),
    ]


def _cpu_share(served: PageProcess, change: Callable[[], object]) -> float:
    """Cores that the page uses while a run changes at its usual pace."""
    before, end = _cpu_s(served.pid), time.monotonic() + CPU_S
    while time.monotonic() < end:
        change()
        time.sleep(PACE_S)
    return (_cpu_s(served.pid) - before) / CPU_S


def _cpu_s(process: int) -> float:
    """Processor seconds of a process so far (proc(5): fields 14 and 15 of stat)."""
    fields = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _resident_mb(process: int) -> float:
    pages = int(Path(f"/proc/{process}/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def _host(folder: Path, served: PageProcess) -> tuple[tuple[float, float], tuple[float, float]]:
    """Milliseconds that the host adds to an exposure and to a stop: unwatched, and watched by five devices."""
    numbers = count()

    @contextmanager
    def watched() -> Iterator[Session]:
        with _played(folder, f"host-{next(numbers)}") as session, _devices(served, session.path):
            yield session

    # In turn, and the better of two, since other work on the machine disturbs both alike.
    alone, seen = [], []
    for _ in range(2):
        alone.append((added_ms(), median(stop_ms(seed) for seed in range(STOPS))))
        seen.append((added_ms(watched), median(stop_ms(seed, watched) for seed in range(STOPS))))
    return _least(alone), _least(seen)


def _least(pairs: list[tuple[float, float]]) -> tuple[float, float]:
    return min(added for added, _ in pairs), min(stop for _, stop in pairs)
