"""The figures: one function for each group, each in its own process."""

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from importlib import import_module
from pathlib import Path
from statistics import median
from typing import TypeVar

from controller.kit.kit import Kit
from controller.kit.load import kit_from_tables
from tests.bench.yardstick import yardstick_s

Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class Figure:
    """One measured figure and its target: at most `most`, at least `least`, or None if there is none.

    With `times`, a speed: `value` is also that multiple of the piece of work `work`, done on the same machine in the same
    process, and the target is for the multiple.
    """

    name: str
    value: float
    unit: str
    most: float | None = None
    least: float | None = None
    times: float | None = None
    work: str = ""

    @property
    def measured(self) -> str:
        """The figure in words."""
        value = f"{self.value:.4g} {self.unit}".strip()
        return value if self.times is None else f"{value} = {self.times:.3g} {self.work}"

    @property
    def target(self) -> str:
        """The target in words."""
        unit = self.unit if self.times is None else self.work
        bounds = (("at most", self.most), ("at least", self.least))
        return ", ".join(f"{word} {bound:g} {unit}".strip() for word, bound in bounds if bound is not None)

    @property
    def reached(self) -> bool:
        """Whether the figure meets its target, if it has one."""
        value = self.value if self.times is None else self.times
        return (self.most is None or value <= self.most) and (self.least is None or value >= self.least)


def speed(name: str, seconds: float, most_times: float | None, work: str = "python", unit: str = "s") -> Figure:
    """A time as a multiple of a piece of work on this machine, see `yardstick`; so is the target."""
    shown = seconds * 1000 if unit == "ms" else seconds
    return Figure(name, shown, unit, most_times, times=seconds / yardstick_s(work), work=work)


def full_frame_kit(focal_length_mm: float, brackets: int = 1, mounted: str = "portrait") -> Kit:
    """An invented kit: 36 x 24 mm, everything else by default."""
    tables = {
        "camera": {
            "sensor_width_mm": 36.0,
            "sensor_height_mm": 24.0,
            "pixels_wide": 6000,
            "pixels_high": 4000,
            "mounted": mounted,
        },
        "lens": {"focal_length_mm": focal_length_mm},
        "exposure": {"bracket_ev": [2.0 * (i - brackets // 2) for i in range(brackets)]},
    }
    return kit_from_tables(tables, "bench")


def work_s(work: Callable[[], Result]) -> tuple[float, Result]:
    """Processor seconds that `work` takes, and its result."""
    begin = time.process_time()
    result = work()
    return time.process_time() - begin, result


def peak_mb() -> float:
    """The largest memory of this process so far, in megabytes."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def start_up() -> list[Figure]:
    """The wall time of `fullturn --help`, median of nine."""
    command = [sys.executable, "-m", "controller", "--help"]
    times = []
    for _ in range(9):
        begin = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True)
        times.append(time.perf_counter() - begin)
    return [speed("fullturn --help", median(times), 7)]


def planning() -> list[Figure]:
    """Planning with proof, links and budget, after the libraries are loaded."""
    from controller.planning.make import make_plan

    make_plan(full_frame_kit(14), 0.30)  # warm up
    figures = []
    for focal_length_mm, most_times in ((24, 6), (100, 24)):
        seconds, _ = work_s(partial(make_plan, full_frame_kit(focal_length_mm), 0.30))
        figures.append(speed(f"plan and proof, {focal_length_mm} mm portrait", seconds, most_times, "numpy"))
    return [*figures, Figure("peak memory of planning", peak_mb(), "MB", 200)]


def rehearsing() -> list[Figure]:
    """A sphere of 354 frames with brackets of three, from the plan file to the HTML report.

    The libraries are loaded before.
    """
    from controller.commands.rehearse import rehearse_command
    from controller.planning.make import make_plan
    from controller.planning.plan_file import save_plan

    import_module("controller.report.run_drawings")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plan.json"
        save_plan(make_plan(full_frame_kit(101.2, brackets=3), 0.30), path)
        seconds, rehearsed = work_s(lambda: rehearse_command(path, Path(folder) / "out", 1, lambda _: lambda: None))
    summary = rehearsed.summary
    off = abs(summary.predicted_seconds / summary.virtual_seconds - 1) * 100
    name = f"rehearse {summary.frames_planned} frames x 3, report included"
    return [
        speed(name, seconds, 100),
        Figure("exposures missing", summary.exposures_planned - summary.exposures_made, "", 0),
        Figure("predicted against simulated time", off, "%", 1.0),
        Figure("peak memory of rehearsing", peak_mb(), "MB", 250),
    ]
