"""Speed of the pictures of a rehearsal: from poses to JPEG files, on one processor core."""

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from controller.calibration.known_lens import LensGiven
from controller.calibration.lens_terms import PupilPlace
from controller.commands.calibrate import Keeping
from controller.commands.calibrate_pictures import ring_command
from controller.commands.pictures import Darkroom
from sim.scene.film import View
from tests.bench.figures import Figure, full_frame_kit, peak_mb, speed
from tests.controller.calibration.staged import Stage

PICTURES = 40
TARGET_TIMES = 1.5  # multiples of numpy's piece of work
WIDE, UPRIGHT = 1000 / 6000, 1000 / 4000  # 1000 pixels along the sensor, or across the upright picture
CASES = (
    # name, scale, entrance pupil ahead of the turning point in mm, motion in degrees, target
    ("picture of 1000 x 667", WIDE, 0.0, 0.0, TARGET_TIMES),
    ("picture of 1000 x 1500", UPRIGHT, 0.0, 0.0, TARGET_TIMES),
    ("1000 x 667, pupil off by 20 mm", WIDE, 20.0, 0.0, TARGET_TIMES),
    ("1000 x 667, moved by 4 pixels", WIDE, 0.0, 0.34, None),
)


def pictures() -> list[Figure]:
    """A lens of 24 mm in portrait: milliseconds from poses to file, and seconds for painting the scenery beforehand."""
    figures = []
    for name, scale, along_mm, motion_deg, target in CASES:
        painting_s, whole_s = _seconds(scale, along_mm, motion_deg)
        figures.append(speed(name, (whole_s - painting_s) / PICTURES, target, "numpy", "ms"))
        figures.append(Figure("... painting the scenery, once", painting_s, "s", None))
    figures.append(Figure("peak memory of rendering", peak_mb(), "MB", None))
    return [*figures, speed("calibrating by a ring of 24 photographs", _ring_s(), 370, "numpy")]


def _ring_s() -> float:
    """Processor seconds from 24 files, 1,000 pixels wide, to steps per degree and focal length."""
    kit = full_frame_kit(24.0, mounted="landscape")
    with tempfile.TemporaryDirectory() as folder:
        files = Stage(kit, 1000).take(Path(folder) / "ring", [(15.0 * number, 3.0) for number in range(24)])
        begin = time.process_time()
        ring_command(files, "4800", LensGiven(24.0, None, 36.0), PupilPlace(), Keeping())
        return time.process_time() - begin


def _seconds(scale: float, along_mm: float, motion_deg: float) -> tuple[float, float]:
    """Processor seconds until the scenery is ready, and until all PICTURES are written."""
    begin, ready = time.process_time(), 0.0

    def standing(_: int) -> Callable[[], None]:
        nonlocal ready
        ready = time.process_time()
        return lambda: None

    with tempfile.TemporaryDirectory() as folder:
        darkroom = Darkroom(Path(folder) / "pictures", scale, None, (along_mm, 0.0))
        darkroom.load(full_frame_kit(24.0), Path(folder) / "out", 1)
        sweep = np.linspace(0, motion_deg, 100 if motion_deg else 1)
        for number in range(PICTURES):
            poses = np.stack([sweep + 37 * number % 360, np.full_like(sweep, 57 * number % 160 - 80)], axis=-1)
            darkroom.film.views.append(View(number, 0, number, 0.0125, poses))
        darkroom.make(1, standing)
    return ready - begin, time.process_time() - begin
