"""A simulated rig at a pseudo-terminal, in real time, and whether its head turns."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from controller.commands.stand_in import rig_spec
from controller.kit.load import load_kit
from sim.rig import Rig
from sim.serve import RealTime
from tests.controller.commands.shell import KIT

BLIND = KIT.replace("[head.pan]", "[head.pan]\nzero_switch = false").replace(
    "[head.tilt]", "[head.tilt]\nzero_switch = false"
)  # its zero is where it is: nothing turns for it


@contextmanager
def served(folder: Path) -> Iterator[tuple[Path, Callable[[], bool]]]:
    """A rig at a pseudo-terminal; the path of the port, and whether the head turns now."""
    (folder / "kit.toml").write_text(BLIND, encoding="utf-8")
    from sim.terminal import Terminal  # not on every system

    rig = Rig(rig_spec(load_kit(folder / "kit.toml"), 1))
    over = threading.Event()
    with Terminal(folder / "port") as line:
        real = RealTime(rig, line)
        serving = threading.Thread(target=real.serve, args=(over.is_set,), daemon=True)
        serving.start()

        def turns() -> bool:
            axes = (rig.head.pan.motion, rig.head.tilt.motion)
            return any(motion.begin_ns < motion.end_ns and real.now_ns() < motion.end_ns for motion in axes)

        try:
            yield folder / "port", turns
        finally:
            over.set()
            serving.join(10)
