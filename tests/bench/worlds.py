"""Virtual time against the processor's, and the growth of both with the length of a run."""

import tempfile
from pathlib import Path

from controller.capture.runner import Runner
from controller.commands.stand_in import rig_spec
from controller.kit.kit import Kit
from controller.kit.load import kit_from_tables
from controller.planning.make import make_plan
from controller.planning.plan import Frame
from controller.program.build import build_program
from controller.session.session import Session
from sim.rig import Rig
from sim.virtual_port import VirtualPort
from tests.bench.figures import Figure, speed, work_s

MANY = 4_000


def evening_kit() -> Kit:
    """An invented kit in the evening: brackets around seven seconds, so that a sphere takes an hour and a half."""
    return kit_from_tables(
        {
            "camera": {"sensor_width_mm": 36.0, "sensor_height_mm": 24.0, "pixels_wide": 6000, "pixels_high": 4000},
            "lens": {"focal_length_mm": 70.0},
            "exposure": {"shutter_seconds": 7.0, "bracket_ev": [-1.0, 0.0, 1.0]},
            "head": {"settle_ms": 1500},
        },
        "bench",
    )


def run_s(kit: Kit, frames: tuple[Frame, ...]) -> tuple[float, float]:
    """Processor seconds and virtual seconds of a run."""
    program, port = build_program(kit, frames), VirtualPort(Rig(rig_spec(kit, 1)))
    with (
        tempfile.TemporaryDirectory() as folder,
        Session.create(Path(folder) / "s.sqlite", {}, durable=False) as session,
    ):
        seconds, result = work_s(Runner(program, port, session).run)
    assert result.complete
    return seconds, result.seconds


def worlds() -> list[Figure]:
    """An hour and a half of 181 frames x 3, and many frames."""
    kit = evening_kit()
    frames = make_plan(kit, 0.3).frames
    run_s(kit, frames[:20])  # warm up
    seconds, virtual_s = min(run_s(kit, frames) for _ in range(3))
    many = tuple(frames[i % len(frames)].model_copy(update={"id": i}) for i in range(MANY))
    many_s, _ = run_s(kit, many)
    return [
        # Most of it is the line: while a shutter is open the board is asked again and again how it is. Measured: 13.
        speed(f"{len(frames)} frames x 3 in {virtual_s / 60:.0f} minutes of virtual time", seconds, 16),
        Figure("a frame of three exposures", seconds / len(frames) * 1000, "ms"),
        Figure(f"a frame among {MANY:,}, as a multiple of that", many_s / MANY / (seconds / len(frames)), "", most=1.1),
    ]
