"""Speed and memory of inspecting a set: 24 megapixels, hundreds of frames, and growth with the number of links."""

import os
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

from controller.inspection.detail import detail_of
from controller.inspection.inspected import Inspected
from controller.inspection.inspecting import inspect_set
from controller.inspection.limits import Limits
from controller.inspection.taken import GLANCE_PX
from controller.matching.matched import match_files
from controller.matching.recorded import recorded_in
from controller.picture_file import read_grey
from tests.bench.figures import Figure, peak_mb, speed, work_s
from tests.sets.making import SetMaker
from tests.sets.spec import ORDINARY, SetSpec
from tests.sets.truth import MadeSet

LARGE = SetSpec(long_px=6000, bracket_ev=(-2.0, 0.0, 2.0), hidden=ORDINARY)
MANY = SetSpec(100.0, long_px=1200, hidden=ORDINARY)
BAND = replace(MANY, band_deg=(-20.0, 20.0))
SPECS = {"large": LARGE, "many": MANY, "band": BAND}
LARGE_S, MANY_S, LARGE_MB = 60.0, 600.0, 1200.0
CORES = 2
MOST_GROWTH = 1.1  # of the cost of a link, from a small set to one of several times as many links
SETS = "FULLTURN_BENCH_SETS"  # a folder that keeps the rendered sets; without it they are rendered for each run


def inspecting_speed() -> list[Figure]:
    """Sets are rendered in a process of their own, so that the memory is that of inspecting.

    Elapsed times count the other groups that run meanwhile. On two free cores they are near half the processor time.
    """
    with tempfile.TemporaryDirectory() as temporary:
        root = Path(os.environ.get(SETS, temporary))
        return [*_large(root), *_many(root)]


def _large(root: Path) -> list[Figure]:
    made = _rendered(root, "large")
    begin = time.perf_counter()
    cpu_s, inspected = work_s(lambda: _inspected(made))
    elapsed_s = time.perf_counter() - begin
    what = f"inspect {len(made.shots)} pictures of 24 megapixels, {len(inspected.frames)} frames"
    return [
        Figure(f"{what}, elapsed", elapsed_s, "s", LARGE_S),
        Figure("... processor time, over two cores", cpu_s / CORES, "s", LARGE_S),
        speed("... processor time", cpu_s, None, "numpy"),
        Figure("... peak memory", peak_mb(), "MB", LARGE_MB),
        Figure("... frames linked", sum(not frame.alone for frame in inspected.frames), "", least=len(made.plan.frames)),
        Figure("... processor time of a picture's two readings", _reading_s(made), "s"),
    ]


def _reading_s(made: MadeSet) -> float:
    """Processor seconds for reading one picture small, and at full size with its detail."""
    path = next(shot.file for shot in made.shots if shot.file is not None)

    def read() -> None:
        read_grey(path, GLANCE_PX)
        detail_of(np.asarray(read_grey(path).picture, dtype=np.uint8))

    read()
    return min(work_s(read)[0] for _ in range(3))


def _many(root: Path) -> list[Figure]:
    """345 frames of small pictures, with the measured cost of reading large ones added for each frame."""
    large, many, band = (_rendered(root, name) for name in ("large", "many", "band"))
    costs = []
    for made in (band, many):
        seconds, inspected = work_s(partial(_inspected, made))
        costs.append((seconds, len(inspected.links), len(inspected.frames)))
    (few_s, few_links, few_frames), (seconds, links, frames) = costs
    more_s = frames * (_reading_s(large) - _reading_s(many))
    each = seconds / links
    return [
        Figure(f"inspect {frames} frames of 24 megapixels, {links} links: processor time over two cores",
               (seconds + more_s) / CORES, "s", MANY_S),
        Figure("... elapsed at most, on one core", seconds + more_s, "s", MANY_S),
        speed("... each link, small pictures", each, None, "numpy", "ms"),
        Figure(f"... growth of a link's cost since {few_links} links of {few_frames} frames",
               each / (few_s / few_links), "times", MOST_GROWTH),
    ]  # fmt: skip


def _inspected(made: MadeSet) -> Inspected:
    found = match_files(recorded_in(made.session), made.session, made.folder)
    return inspect_set(found, made.folder, Limits(), lambda _: lambda: None)


def _rendered(root: Path, name: str) -> MadeSet:
    """The set, made in another process if it is not there."""
    subprocess.run([sys.executable, "-m", __name__, str(root), name], check=True)
    return SetMaker(root).make(SPECS[name], 1)


if __name__ == "__main__":
    SetMaker(Path(sys.argv[1])).make(SPECS[sys.argv[2]], 1)
