"""`fullturn simulate`, and other commands, as separate processes."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.controller.commands.shell import KIT

# Several seconds of this world pass in one of the host's: its board must still accept the host's next request.
PATIENT = KIT + "[board]\nsilence_ms = 60000\n"


def environment() -> dict[str, str]:
    return os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}


@contextmanager
def simulated(folder: Path, *words: str) -> Iterator[tuple[subprocess.Popen[str], dict[str, Any]]]:
    """The process, and what it printed once its port was open. It is killed at the end, whatever happens."""
    (folder / "kit.toml").write_text(PATIENT, encoding="utf-8")
    command = [sys.executable, "-m", "controller", "simulate", "--kit", "kit.toml", "--json", *words]
    with subprocess.Popen(command, cwd=folder, env=environment(), stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            yield process, json.loads(process.stdout.readline())
        finally:
            process.kill()
