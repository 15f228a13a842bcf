"""A command in a process of its own: which libraries it loaded, the memory and the time that it took."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.metadata import packages_distributions
from pathlib import Path

from tests.controller.commands.simulated import environment

ROOT = Path(__file__).resolve().parents[1]
TIMEOUT_S = 600
# Runs the words after the first two as a command. The first is where to write what was loaded, the second the modules
# that cannot be imported, as if they were not installed. The peak is that of Linux since this program began (VmHWM in
# proc(5)); getrusage(2) would count what the process was forked from.
SCRIPT = """\
import atexit, json, os, signal, sys, time
signal.signal(signal.SIGINT, signal.default_int_handler)  # a background job of a shell ignores it
def tell(place=sys.argv[1]):
    own_kb = child_kb = 0
    if os.path.exists("/proc/self/status"):
        import resource
        lines = dict(line.split(":", 1) for line in open("/proc/self/status", encoding="utf-8"))
        own_kb, child_kb = int(lines["VmHWM"].split()[0]), resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    modules = sorted({name.split(".")[0] for name, module in sys.modules.items() if module is not None})
    told = {"modules": modules, "own_kb": own_kb, "child_kb": child_kb, "seconds": time.process_time()}
    open(place, "w", encoding="utf-8").write(json.dumps(told))
atexit.register(tell)
sys.modules |= dict.fromkeys(filter(None, sys.argv[2].split(",")))
sys.argv = ["fullturn", *sys.argv[3:]]
from controller.cli.main import main
main()
"""


@dataclass(frozen=True, slots=True)
class Loaded:
    """What a command printed and loaded, and what it took. `seconds` are of the processor, without other processes.

    `packages` are distributions that the program asks for. `peak_mb` is the command's own peak and that of the largest
    process that it started: no more than both together were ever in memory. Zero where there is no /proc.
    """

    status: int
    out: str
    err: str
    seconds: float
    packages: frozenset[str]
    peak_mb: float


def run_loaded(folder: Path, words: Sequence[str], *, without: Collection[str] = (), until_line: bool = False) -> Loaded:
    """Run a command in `folder`, where modules `without` cannot be imported.

    With `until_line` it is interrupted after its first line, like a server.
    """
    with tempfile.TemporaryDirectory() as place:
        told = Path(place) / "told.json"
        command = [sys.executable, "-c", SCRIPT, str(told), ",".join(without), *words]
        with subprocess.Popen(
            command, cwd=folder, env=environment(), text=True,
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        ) as process:  # fmt: skip
            first = ""
            if until_line and process.stdout is not None:
                first = process.stdout.readline()
                process.send_signal(signal.SIGINT)
            try:
                out, err = process.communicate(timeout=TIMEOUT_S)
            finally:
                process.kill()
        found = json.loads(told.read_text(encoding="utf-8"))
    peak_mb = (found["own_kb"] + found["child_kb"]) / 1024
    return Loaded(process.returncode, first + out, err, found["seconds"], distributions(found["modules"]), peak_mb)


def distributions(modules: Collection[str]) -> frozenset[str]:
    """The distributions that these top modules belong to, of those that the program itself asks for."""
    known = _distribution_of()
    return frozenset(known[module] for module in modules if module in known)


@cache
def _distribution_of() -> dict[str, str]:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lines = [*project["dependencies"], *(line for extra in project["optional-dependencies"].values() for line in extra)]
    asked_for = {re.split(r"[^\w-]", line)[0].lower() for line in lines}
    first = {module: names[0].lower() for module, names in packages_distributions().items()}
    return {module: name for module, name in first.items() if name in asked_for - {"fullturn"}}
