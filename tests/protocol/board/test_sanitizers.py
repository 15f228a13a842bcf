"""The core under the compiler's sanitizers: no access out of bounds and no undefined arithmetic, for any input."""

from __future__ import annotations

import os
import subprocess
from collections import Counter
from pathlib import Path

import pytest

from protocol.codec import decode_message
from protocol.framing import Deframer
from protocol.messages import Finished, Held, Outcome, Refused, Welcome
from protocol.units import BootId
from tests.protocol.board import build
from tests.protocol.board.script import Script

ROUNDS = 100
PLAYED_BOOT_ID = BootId(1)  # as in native/play.c
FLAGS = ("-g", "-O1", "-fsanitize=address,undefined", "-fno-sanitize-recover=all")


@pytest.fixture(scope="module")
def player(tmp_path_factory: pytest.TempPathFactory) -> Path:
    build.need(build.native_tools_lacking())
    return build.build_native(tmp_path_factory.mktemp("player") / "play", ["world.c", "play.c"], *FLAGS)


@pytest.mark.parametrize("seed", range(4))
def test_noise_frames_and_moves_are_clean(player: Path, seed: int) -> None:
    environment = {**os.environ, "ASAN_OPTIONS": "detect_leaks=0"}
    script = Script(seed, PLAYED_BOOT_ID).text(ROUNDS)
    done = subprocess.run([str(player)], input=script, capture_output=True, check=False, env=environment, timeout=60)
    assert done.stderr == b""
    assert done.returncode == 0
    deframer = Deframer()
    said = [decode_message(frame.kind, frame.payload) for frame in deframer.feed(done.stdout)]
    assert deframer.counters.damaged == 0
    assert isinstance(said[-1], Welcome)
    # It executed commands, and did not only refuse them.
    outcomes = Counter(message.outcome for message in said if isinstance(message, Finished))
    assert outcomes[Outcome.REFERENCED] > 0.9 * ROUNDS
    assert min(outcomes[kind] for kind in (Outcome.ARRIVED, Outcome.NO_SYNC, Outcome.CUT_SHORT)) > ROUNDS / 10
    assert len({message.cause for message in said if isinstance(message, Held)}) >= 4
    assert len({message.reason for message in said if isinstance(message, Refused)}) >= 6


def test_the_sanitizers_are_at_work(tmp_path: Path) -> None:
    """Otherwise a clean run would mean nothing."""
    build.need(build.native_tools_lacking())
    source, program = tmp_path / "wrong.c", tmp_path / "wrong"
    source.write_text("int main(int count, char **words)\n{\n    return words[0] == 0 ? 1 : 1 << (count + 40);\n}\n")
    build.run("cc", *FLAGS, source, "-o", program)
    done = subprocess.run([str(program)], capture_output=True, text=True, check=False)
    assert done.returncode != 0
    assert "shift exponent" in done.stderr
