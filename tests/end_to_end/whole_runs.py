"""Invented kits, and whole runs of them on the simulated rig through the real protocol's bytes."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from controller.capture.events import Wanted
from controller.capture.runner import Runner, RunResult
from controller.commands.stand_in import rig_spec
from controller.kit.kit import Kit
from controller.kit.load import kit_from_tables
from controller.planning.plan import Frame
from controller.program.build import build_program
from controller.program.program import Program
from controller.session.rows import Happening, ShotRow
from controller.session.session import Session
from sim.rig import Rig
from sim.truth import TrueExposure
from sim.virtual_port import VirtualPort
from tests.heads import head_with

Tables = dict[str, dict[str, Any]]

CAMERA = {"sensor_width_mm": 36.0, "sensor_height_mm": 24.0, "pixels_wide": 6000, "pixels_high": 4000}
# A row of three and something above it: enough for every kind of step, and back across the seam of the turn.
FEW = ((0, 15.0, 5.0), (1, 120.0, -15.5), (2, 359.9, 30.25), (3, 200.0, 90.0))


def kit_of(focal_length_mm: float = 24.0, **tables: dict[str, Any]) -> Kit:
    """A kit with a lens of this focal length, its head stated; `tables` add to or replace these values."""
    whole: Tables = {"camera": dict(CAMERA), "lens": {"focal_length_mm": focal_length_mm}}
    for name, table in (tables | {"head": head_with(**tables.get("head", {}))}).items():
        whole.setdefault(name, {}).update(table)
    return kit_from_tables(whole, "kit")


def few_frames() -> tuple[Frame, ...]:
    return tuple(Frame(id=number, row=0, yaw_deg=yaw, pitch_deg=pitch) for number, yaw, pitch in FEW)


@dataclass
class World:
    """A program, the rig that will run it, and the host's end of the wire."""

    kit: Kit
    program: Program
    rig: Rig
    port: VirtualPort

    @property
    def truth(self) -> list[TrueExposure]:
        return self.rig.truth.exposures


def world_of(
    kit: Kit,
    frames: Sequence[Frame] | None = None,
    seed: int = 0,
    port_of: Callable[[Rig], VirtualPort] = VirtualPort,
) -> World:
    rig = Rig(rig_spec(kit, seed))
    return World(kit, build_program(kit, few_frames() if frames is None else frames), rig, port_of(rig))


@dataclass
class Done:
    """How a run ended, and its session."""

    result: RunResult
    shots: list[ShotRow]
    happenings: list[Happening]


def run(
    world: World,
    folder: Path,
    operator: Callable[[], Wanted | None] = lambda: None,
    on_exposure: Callable[[], None] = lambda: None,
) -> Done:
    """Run the world's program with a session in `folder`."""
    with Session.create(folder / "session.sqlite", {"kind": "test"}, durable=False) as session:
        result = Runner(world.program, world.port, session, operator, on_exposure=on_exposure).run()
        return Done(result, session.shots(), session.happenings())


def let_pass(port: VirtualPort, seconds: float) -> None:
    """Let the world run by itself without a host."""
    end_ns = port.now() + round(seconds * 1e9)
    while port.now() < end_ns:
        port.wait_bytes(end_ns)


def planned_exposures(kit: Kit, frames: Sequence[Frame]) -> list[tuple[int, int]]:
    return [(frame.id, number) for frame in frames for number in range(len(kit.exposure.bracket_ev))]


def direction(yaw_deg: float, pitch_deg: float) -> tuple[float, float, float]:
    yaw, pitch = math.radians(yaw_deg), math.radians(pitch_deg)
    return math.cos(pitch) * math.cos(yaw), math.cos(pitch) * math.sin(yaw), math.sin(pitch)


def apart_deg(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Angle between two directions given as (yaw, pitch) in degrees."""
    chord = math.dist(direction(*a), direction(*b))
    return math.degrees(2 * math.asin(min(1.0, chord / 2)))


def within_deg(kit: Kit) -> float:
    """How far an exposure may be from its plan: half a step on each axis, a pixel of slow swing, 0.002° for the rest."""
    half_steps = [0.5 / axis.steps_per_degree for axis in (kit.head.pan, kit.head.tilt)]
    return math.hypot(*half_steps) + math.degrees(kit.field(0.0).pixel_rad) + 0.002


def assert_truly_made(kit: Kit, frames: Sequence[Frame], truth: Sequence[TrueExposure]) -> None:
    """Check that every planned exposure was made exactly once, in order, still, in place, and for its time."""
    assert [(shot.frame, shot.exposure) for shot in truth] == planned_exposures(kit, frames)
    aims = {frame.id: (frame.yaw_deg, frame.pitch_deg) for frame in frames}
    for shot in truth:
        assert shot.still, shot
        assert apart_deg((shot.yaw_deg, shot.pitch_deg), aims[shot.frame]) <= within_deg(kit), shot
        assert math.isclose(shot.shutter_s, kit.shutter_times_s()[shot.exposure], rel_tol=1e-6, abs_tol=2e-9)
