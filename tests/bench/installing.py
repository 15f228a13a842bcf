"""What an installation takes: minutes and megabytes of the core and of its extras, each in a new environment."""

import subprocess
import sys
import tempfile
import time
import venv
from pathlib import Path

from tests.bench.figures import Figure

ROOT = Path(__file__).resolve().parents[2]
MOST_MB = {"": 330.0}


def installing() -> list[Figure]:
    """The core, and each extra with the core: installed by pip without its cache, so the network counts."""
    return [figure for extra in ("", "page", "pictures") for figure in _installed(extra)]


def _installed(extra: str) -> list[Figure]:
    outside = str(getattr(sys, "_base_executable", sys.executable))  # this environment has no pip
    name = f"installing the core and [{extra}]" if extra else "installing the core"
    with tempfile.TemporaryDirectory() as folder:
        venv.create(folder, with_pip=False)
        python = str(Path(folder) / "bin" / "python")
        wanted = f"{ROOT}[{extra}]" if extra else str(ROOT)
        begin = time.perf_counter()
        pip = [outside, "-m", "pip", "--disable-pip-version-check", "--python", python, "install"]
        subprocess.run([*pip, "--quiet", "--no-cache-dir", wanted], check=True, stdout=sys.stderr)
        minutes = (time.perf_counter() - begin) / 60
        bytes_ = sum(path.lstat().st_blocks * 512 for path in Path(folder).rglob("*"))
    return [Figure(name, minutes, "min"), Figure("... on the disk", bytes_ / 1e6, "MB", MOST_MB.get(extra))]
