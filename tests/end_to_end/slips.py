"""Motors that slip, at any moment and by any amount, in plans of every shape; and what may be said of the set then."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from controller.capture.runner import Runner, RunResult
from controller.commands.stand_in import rig_spec
from controller.kit.kit import Kit
from controller.planning.make import make_plan
from controller.planning.plan import Frame
from controller.program.build import build_program
from controller.program.index import unseen_deg
from controller.session.session import Session
from sim.rig import Rig
from sim.scenario import Fault, Scenario
from sim.virtual_port import VirtualPort
from tests.end_to_end.whole_runs import apart_deg, kit_of, within_deg


def frames_at(*poses: tuple[float, float]) -> tuple[Frame, ...]:
    return tuple(Frame(id=n, row=0, yaw_deg=yaw, pitch_deg=pitch) for n, (yaw, pitch) in enumerate(poses))


def by_hand(frame: Frame) -> Frame:
    return frame.model_copy(update={"by_hand": True})


@cache
def sphere() -> tuple[Frame, ...]:
    return make_plan(kit_of(16.0), 0.3).frames


FREE = ((-143.2, 12.5), (31.7, -48.1), (0.0, 71.3), (88.8, -3.3), (-0.1, -0.2), (-60.0, 33.0), (171.0, -20.0))
SHAPES: dict[str, tuple[Frame, ...]] = {
    "row at pitch 0": frames_at(*((-180 + 40 * n, 0.0) for n in range(9))),
    "row just above pitch 0": frames_at(*((-180 + 40 * n, 0.2) for n in range(9))),
    "window far from zero": frames_at(*((100 + 12 * n, pitch) for pitch in (20.0, 35.0) for n in range(4))),
    "column at yaw 0": frames_at(*((0.0, pitch) for pitch in (-60.0, -30.0, 0.0, 30.0, 60.0))),
    "free poses": frames_at(*FREE),
    "one frame": frames_at((75.0, 20.0)),
    "one frame at zero": frames_at((0.0, 0.0)),
    "a row and the nadir by hand": (
        *frames_at(*((-160 + 64 * n, 15.0) for n in range(6))),
        by_hand(Frame(id=6, row=1, yaw_deg=0.0, pitch_deg=-90.0)),
    ),
}
PLAY = {"head": {"pan": {"backlash_deg": 0.3}, "tilt": {"backlash_deg": 0.3}}}
KITS: dict[str, dict[str, dict[str, Any]]] = {"no play": {}, "play": PLAY}


@dataclass(frozen=True)
class Slipped:
    """A run in which motors slipped: how it ended, what it said, and how far what counts is off, in degrees."""

    result: RunResult
    off_deg: dict[tuple[int, int], float]
    retaken: int
    seconds: float


def run_with(kit: Kit, frames: tuple[Frame, ...], faults: Iterable[Fault], folder: Path, seed: int = 1) -> Slipped:
    rig = Rig(replace(rig_spec(kit, seed), scenario=Scenario("drawn", "", tuple(faults))))

    def hold(_: int, yaw_deg: float, pitch_deg: float) -> bool:
        rig.head.hold_by_hand(yaw_deg, pitch_deg)
        return True

    with Session.create(folder / "session.sqlite", {}, durable=False) as session:
        result = Runner(build_program(kit, frames), VirtualPort(rig), session, ask=hold).run()
        made, retaken = session.made(), len(session.doubts())
    aims = {frame.id: (frame.yaw_deg, frame.pitch_deg) for frame in frames}
    latest = {(one.frame, one.exposure): one for one in rig.truth.exposures}
    off = {key: apart_deg((latest[key].yaw_deg, latest[key].pitch_deg), aims[key[0]]) for key in made}
    return Slipped(result, off, retaken, result.seconds)


def allowed_deg(kit: Kit) -> float:
    """How far off a pose may be: what the plan is proved for, or on a coarse head what can hide."""
    unseen = math.hypot(unseen_deg(kit.head, kit.head.pan), unseen_deg(kit.head, kit.head.tilt))
    return max(kit.head.pointing_error_deg(), unseen + within_deg(kit))
