"""`fullturn simulate` as a separate process, and commands that are run here beside it."""

import contextlib
import io
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from unittest.mock import patch

from controller.cli.main import main
from tests.controller.commands.shell import KIT

# Several seconds of this world pass in one of the host's: its board must still accept the host's next request.
PATIENT = KIT + "[board]\nsilence_ms = 60000\n"


def environment() -> dict[str, str]:
    return os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}


def beside(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run a command in `folder`, without a terminal, to its end. It runs in this process: starting one takes a second."""
    out, err, status = io.StringIO(), io.StringIO(), 0
    with (
        contextlib.chdir(folder),
        patch.object(sys, "argv", ["fullturn", *words]),
        patch.object(sys, "stdin", io.StringIO()),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            main()
        except SystemExit as end:
            status = end.code if isinstance(end.code, int) else int(end.code is not None)
    return subprocess.CompletedProcess(words, status, out.getvalue(), err.getvalue())


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
