"""The child that holds the head, in real time: a rig at a pseudo-terminal whose motion is followed through the truth of
its own clock, and a child that is killed, left alone or stopped. The bounds are generous: other programs run beside it.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import IO, Any

import pytest

from controller import clock
from tests.controller.commands.simulated import environment
from tests.controller.page.person import lease
from tests.controller.page.rig_at_port import served

if sys.platform == "win32":
    pytest.skip("no pseudo-terminals", allow_module_level=True)

pytestmark = pytest.mark.long
RESTS_WITHIN_S = 0.5 + 0.26 + 1.0  # lease or silence, ramp, and a busy machine


class Child:
    """The child and the page's end of its pipes. Between them is a `relay`, which stands for the page's process."""

    def __init__(self, process: subprocess.Popen[bytes], relay: subprocess.Popen[bytes]) -> None:
        self.process, self.relay = process, relay
        assert relay.stdin is not None
        assert process.stdout is not None
        self._to, self._from = relay.stdin, process.stdout

    def send(self, message: dict[str, Any]) -> None:
        """Send a message; whoever sends one is there."""
        lines = ({"here": clock.monotonic_ns()}, message)
        self._to.write(b"".join(json.dumps(each).encode() + b"\n" for each in lines))
        self._to.flush()

    def here(self) -> None:
        self.send({"here": clock.monotonic_ns()})

    def hear(self, key: str) -> Any:
        """The next message with this key."""
        while line := self._from.readline():
            message = json.loads(line)
            if key in message:
                return message[key] if key != "ask" else message["number"]
        raise AssertionError(f"it ended without {key}")

    @property
    def input(self) -> IO[bytes]:
        return self._to


@pytest.fixture
def turning(tmp_path: Path) -> Iterator[tuple[Child, Callable[[], bool]]]:
    """A child whose head turns by a lease that was just renewed, and whether it still does."""
    with served(tmp_path) as (port, turns):
        command = [sys.executable, "-m", "controller.page.held", str(tmp_path / "kit.toml"), str(port)]
        with (
            subprocess.Popen(["cat"], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as relay,
            subprocess.Popen(command, env=environment(), stdin=relay.stdout, stdout=subprocess.PIPE) as process,
        ):
            assert relay.stdout is not None
            relay.stdout.close()  # only the child reads it
            child = Child(process, relay)
            try:
                child.hear("place")
                child.here()
                child.send({"do": "zero", "sent_ns": clock.monotonic_ns()})
                child.send({"answer": child.hear("ask"), "yes": True})
                assert child.hear("place")["known"]
                number, end_s = 0, time.monotonic() + 10
                while not turns():
                    number += 1
                    child.send(lease(1, number, clock.monotonic_ns()))
                    assert time.monotonic() < end_s
                    time.sleep(0.05)
                yield child, turns
            finally:
                for each in (process, relay):
                    if each.poll() is None:
                        each.send_signal(signal.SIGCONT)
                        each.kill()
                with suppress(BrokenPipeError):
                    child.input.close()


def seconds_until_rest(turns: Callable[[], bool]) -> float:
    begin_s = time.monotonic()
    while turns():
        assert time.monotonic() < begin_s + 10
        time.sleep(0.005)
    return time.monotonic() - begin_s


Turning = tuple[Child, Callable[[], bool]]


def test_a_child_that_is_killed_leaves_a_head_that_stops(turning: Turning) -> None:
    child, turns = turning
    child.process.kill()
    assert seconds_until_rest(turns) < RESTS_WITHIN_S


def test_a_child_that_is_suspended_leaves_a_head_that_stops(turning: Turning) -> None:
    child, turns = turning
    os.kill(child.process.pid, signal.SIGSTOP)
    assert seconds_until_rest(turns) < RESTS_WITHIN_S


def test_a_page_that_is_gone_stops_the_head_and_ends_the_child(turning: Turning) -> None:
    child, turns = turning
    child.input.close()
    assert seconds_until_rest(turns) < RESTS_WITHIN_S
    assert child.hear("status") == 0
    assert child.process.wait(10) == 0


def test_a_page_that_is_suspended_renews_nothing(turning: Turning) -> None:
    """The pipe stays open and nothing comes. What piled up meanwhile arrives at once later, and is too old."""
    child, turns = turning
    os.kill(child.relay.pid, signal.SIGSTOP)
    for number in range(5):
        child.send(lease(1, 100 + number, clock.monotonic_ns()))
        child.send(lease(2, 1 + number, clock.monotonic_ns()))
    child.send({"do": "step", "pan": 1, "tilt": 0, "size": 0, "sent_ns": clock.monotonic_ns()})
    assert seconds_until_rest(turns) < RESTS_WITHIN_S
    time.sleep(1.2)
    os.kill(child.relay.pid, signal.SIGCONT)
    time.sleep(0.5)
    assert not turns()


def test_a_signal_ends_it_with_a_sentence(turning: Turning) -> None:
    child, turns = turning
    child.process.send_signal(signal.SIGTERM)
    assert seconds_until_rest(turns) < RESTS_WITHIN_S
    assert child.hear("end")
    child.process.wait(10)


def test_a_port_in_use_is_refused_in_a_sentence(turning: Turning, tmp_path: Path) -> None:
    command = [sys.executable, "-m", "controller.page.held", str(tmp_path / "kit.toml"), str(tmp_path / "port")]
    child = turning[0]
    with subprocess.Popen(
        command, env=environment(), stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True
    ) as second:
        while second.poll() is None:
            child.here()
            time.sleep(0.1)
        out, _ = second.communicate()
    message = json.loads(out.splitlines()[-1])
    assert second.returncode == message["status"] == 1
    assert "is in use by process" in message["end"]
