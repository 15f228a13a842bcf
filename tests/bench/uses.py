"""The shortest real use of every command, and the libraries that it may load."""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.controller.commands.simulated import simulated
from tests.loaded import Loaded, run_loaded

READS = frozenset({"click", "pydantic"})
PLANS = READS | {"numpy"}
RUNS = PLANS | {"rich"}
MOVES = RUNS | {"pyserial"}
SHOOTS = MOVES | {"transitions"}
DRAWS = frozenset({"matplotlib", "packaging", "pillow"})
REHEARSES = RUNS | DRAWS | {"jinja2", "transitions"}
PICTURES = PLANS | {"exifread", "pillow"}
WINDOW = "--region window --pitch-from -40 --pitch-to 40 --yaw-from -90 --yaw-to 110"
QUIET = "--yes --countdown 1"


@dataclass(frozen=True, slots=True)
class Use:
    """One use: the command as typed ("{port}" is that of a simulated rig) and the libraries that it loads.

    `until_line`: a server, interrupted after its first line. `most_mb` is the target for its memory, if it has one.
    """

    words: str
    loads: frozenset[str]
    until_line: bool = False
    most_mb: float | None = None
    statuses: tuple[int, ...] = (0,)

    @property
    def command(self) -> str:
        """The words up to the first option or file."""
        words = self.words.split()
        return " ".join(words[:2] if words[0] in {"kit", "board", "calibrate"} else words[:1])


USES = (
    Use("help contributors-words", frozenset({"click", "rich"})),
    Use("completion bash", frozenset({"click"})),
    Use("version --json", PLANS | {"packaging"}),
    Use("doctor", frozenset({"click", "packaging", "pyserial"}), statuses=(0, 1)),
    Use("kit schema", READS),
    Use("kit find d750", frozenset({"click", "lensfunpy", "numpy"})),
    Use(
        "kit new --camera 'Nikon Corporation Nikon D750' --focal-length-mm 24 --pixels 6016x4016 --out new.toml",
        PICTURES | {"lensfunpy"},
    ),
    Use("kit example --out example.toml", PICTURES),
    Use("kit check kit.toml", PLANS),
    Use(
        "kit loads kit.toml --mass-kg 2 --length-mm 200 --height-mm 100 --tilt-offset-mm 20 --pan-offset-mm 20 "
        "--torque 0:0.4 --torque 600:0.2 --rotor-g-cm2 54 --gear-efficiency 0.8 --total-kg 6 --feet-radius-mm 400 "
        "--wind-height-mm 1500 --area-m2 0.1 --wind-m-s 10",
        PLANS,
    ),
    Use("calibrate list kit.toml", PLANS),
    Use(f"plan kit.toml --out plan.json {WINDOW}", PLANS | {"networkx", "scipy"}, most_mb=200),
    Use("rehearse plan.json --out run", REHEARSES),
    Use("simulate --kit kit.toml --tcp 127.0.0.1:0", PLANS | {"pillow"}, until_line=True),
    Use("board find --port {port}", MOVES - {"rich"}),
    Use("jog kit.toml --port {port} --to 10 5 " + QUIET, MOVES),
    Use(f"capture plan.json --port {{port}} --out s.sqlite --skip-sweep {QUIET}", SHOOTS, most_mb=80),
    Use("tell s.sqlite retake 0", READS),
    Use(f"resume s.sqlite --skip-sweep {QUIET}", SHOOTS | {"networkx"}, most_mb=80),
    Use("watch s.sqlite", RUNS | {"jinja2"}),
    Use("report s.sqlite", PLANS | {"jinja2"}),
    Use("report s.sqlite --out account", PLANS | DRAWS | {"jinja2"}),
    Use("rehearse plan.json --out seen --pictures seen-pictures --scale 0.05", REHEARSES | PICTURES | {"scipy"}),
    Use("match seen/session.sqlite seen-pictures", PICTURES | {"scipy"}),
    Use(
        "inspect seen/session.sqlite seen-pictures",
        PICTURES | {"jinja2", "opencv-python-headless", "rich", "scipy"},
    ),
    Use("page .", PICTURES | {"jinja2", "segno", "starlette", "tomlkit", "uvicorn"}, until_line=True, statuses=(0, 1)),
)


@contextmanager
def all_used(folder: Path) -> Iterator[Iterator[tuple[Use, Loaded]]]:
    """Every use in turn, in a folder with a kit and a simulated rig."""
    with simulated(folder, "--tcp", "127.0.0.1:0", "--speed", "4") as (_, served):
        yield ((use, used(use, folder, served["port"])) for use in USES)


def used(use: Use, folder: Path, port: str) -> Loaded:
    """One use. Raises RuntimeError if it fails."""
    loaded = run_loaded(folder, shlex.split(use.words.format(port=port)), until_line=use.until_line)
    if loaded.status not in use.statuses:
        raise RuntimeError(f"{use.words}: ended with {loaded.status}: {loaded.err}")
    return loaded
