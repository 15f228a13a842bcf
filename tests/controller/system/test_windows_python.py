"""The real functions of Windows, where there is a Python for Windows: there, or here under Wine.

FULLTURN_WINDOWS_PYTHON is the command that starts it, such as `wine C:/python/python.exe`. It needs no packages.
"""

import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]
COMMAND = [sys.executable] if sys.platform == "win32" else shlex.split(os.environ.get("FULLTURN_WINDOWS_PYTHON", ""))


@pytest.mark.skipif(not COMMAND, reason="name a Python for Windows in FULLTURN_WINDOWS_PYTHON")
def test_the_real_functions_of_windows() -> None:
    done = subprocess.run(
        [*COMMAND, "-m", "tests.controller.system.on_windows"],
        cwd=ROOT, stdin=subprocess.DEVNULL, capture_output=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr.decode(errors="replace")
    assert done.stdout == "All of it is as on Windows: ° × →\n".encode()
