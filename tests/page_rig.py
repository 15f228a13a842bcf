"""A folder with a kit, a simulated rig in real time, and `fullturn page` in front of it, each a process of its own.

Whatever happens, all of it is ended: `folder_of_work` ends every process that works in the folder.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from queue import Empty, Queue
from threading import Thread
from typing import Any, TypeVar

from controller.own_names import SESSION
from controller.session.session import Session
from tests.controller.commands.simulated import PATIENT, environment

Found = TypeVar("Found")
PATIENCE_S = 30.0
LOOK_S = 0.02  # between two looks at a condition
PORT, TRUTH, KIT_FILE = "port", "truth.json", "kit.toml"


def until(what: str, look: Callable[[], Found | None], patience_s: float = PATIENCE_S) -> Found:
    """What `look` gives as soon as it gives anything that counts as true. Fails, and says `what`, if it never does."""
    end = time.monotonic() + patience_s
    while time.monotonic() < end:
        if found := look():
            return found
        time.sleep(LOOK_S)
    raise AssertionError(f"not within {patience_s:g} s: {what}")


@contextmanager
def folder_of_work(folder: Path) -> Iterator[Path]:
    """A folder, at whose end every process is killed that was started in it, detached runs included."""
    try:
        yield folder
    finally:
        for process in workers_in(folder):
            with suppress(ProcessLookupError):
                os.kill(process, signal.SIGKILL)


def workers_in(folder: Path) -> list[int]:
    """The processes whose working folder this is, by number."""
    found = []
    for place in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):
            if os.readlink(place / "cwd") == str(folder.resolve()) and int(place.name) != os.getpid():
                found.append(int(place.name))
    return found


def fullturn(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run a command of the program to its end."""
    command = [sys.executable, "-m", "controller", *words]
    return subprocess.run(
        command, cwd=folder, env=environment(), capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL
    )


@contextmanager
def rig_at(folder: Path, *, speed: float, kit: str = PATIENT) -> Iterator[subprocess.Popen[str]]:
    """A simulated rig at the port `port` of the folder; its truth is in `truth.json`. Its kit is outside the folder."""
    beside = folder.with_name(f"{folder.name}-rig")
    beside.mkdir(exist_ok=True)
    (beside / KIT_FILE).write_text(kit, encoding="utf-8")
    words = ("--kit", str(beside / KIT_FILE), "--port-name", PORT, "--truth", TRUTH, "--speed", str(speed), "--json")
    command = [sys.executable, "-m", "controller", "simulate", *words]
    with subprocess.Popen(command, cwd=folder, env=environment(), stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            assert json.loads(process.stdout.readline())["port"] == PORT
            yield process
        finally:
            process.kill()


def truth_of(folder: Path) -> list[dict[str, Any]]:
    """The exposures that were really made, in their order."""
    found: list[dict[str, Any]] = json.loads((folder / TRUTH).read_text(encoding="utf-8"))["exposures"]
    return found


def really_made(folder: Path) -> Counter[tuple[int, int]]:
    """How often each exposure (frame and number in its bracket) was really made."""
    return Counter((one["frame"], one["exposure"]) for one in truth_of(folder))


def sessions_in(folder: Path) -> list[Path]:
    """The sessions of the folder, the oldest first."""
    return sorted(folder.glob(f"*{SESSION}"), key=lambda each: each.stat().st_mtime)


def claimed(session: Path) -> Counter[tuple[int, int]]:
    """How often each exposure was made, by the session."""
    with Session.open(session) as reading:
        return Counter((shot.intent.frame, shot.intent.exposure) for shot in reading.shots() if shot.outcome)


def states_of(session: Path) -> list[str]:
    """The states that the run went through."""
    with Session.open(session) as reading:
        return [happening.state for happening in reading.happenings()]


@dataclass
class PageProcess:
    """A page that is served; `keys` are the latest that it printed, and `complaints` its lines about refusals."""

    folder: Path
    port: int = 0
    complaints: list[str] = field(default_factory=list)
    keys: dict[str, Any] = field(default_factory=dict)
    process: subprocess.Popen[str] | None = None
    _printed: Queue[dict[str, Any]] = field(default_factory=Queue)
    _listeners: list[Thread] = field(default_factory=list)

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def pid(self) -> int:
        assert self.process is not None
        return self.process.pid

    def begin(self) -> None:
        """Start it, at the port where it was before if it was."""
        command = [sys.executable, "-m", "controller", "page", ".", "--json", f"--port-number={self.port}"]
        self.process = subprocess.Popen(
            command, cwd=self.folder, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        self._listeners = [
            Thread(target=each, args=(self.process,), daemon=True) for each in (self._listen, self._complain)
        ]
        for listener in self._listeners:
            listener.start()
        self.keys = self._printed.get(timeout=PATIENCE_S)
        self.port = int(self.keys["port"])

    def _listen(self, process: subprocess.Popen[str]) -> None:
        assert process.stdout is not None
        with process.stdout:
            for line in process.stdout:
                self._printed.put(json.loads(line))

    def _complain(self, process: subprocess.Popen[str]) -> None:
        assert process.stderr is not None
        with process.stderr:
            self.complaints += process.stderr

    def key(self, kind: str = "control_key") -> str:
        """A key that is good now: `control_key` or `look_on_key`. New ones are printed once a key was used."""
        with suppress(Empty):
            while True:
                self.keys = self._printed.get_nowait()
        return str(self.keys[kind])

    def used(self) -> None:
        """Wait until the page has printed new keys, after one was used."""
        self.keys = self._printed.get(timeout=PATIENCE_S)

    def kill(self) -> None:
        """End it at once, without a chance to tidy up."""
        assert self.process is not None
        self.process.kill()
        self.process.wait()
        for listener in self._listeners:  # what the page began may hold its lines for a moment longer
            listener.join(PATIENCE_S)


@contextmanager
def page_of(folder: Path) -> Iterator[PageProcess]:
    """`fullturn page` for a folder, at a free port of this machine."""
    served = PageProcess(folder)
    served.begin()
    try:
        yield served
    finally:
        served.kill()
