"""Motors that slip, at any time and by any amount, in plans of every shape; and what may then be claimed of the set."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from random import Random

from controller.capture.people import YesNoQuestion
from controller.capture.runner import Runner, RunResult
from controller.commands.stand_in import rig_spec
from controller.kit.kit import Kit
from controller.planning.make import make_plan
from controller.planning.plan import Frame
from controller.program.build import build_program
from controller.program.index import unseen_deg
from controller.session.rows import Happening
from controller.session.session import Session
from protocol.units import NS
from sim.rig import Rig
from sim.scenario import Fault, Scenario
from sim.truth import TrueExposure
from sim.virtual_port import HostKilled, VirtualPort
from tests.end_to_end.whole_runs import apart_deg, kit_of, within_deg

MOST_LIVES = 20
# A reference run of the simulator searches for the switch over 400 degrees; 65,000 steps are 203.
MOST_STEPS = 65_000


def frames_at(*poses: tuple[float, float]) -> tuple[Frame, ...]:
    return tuple(Frame(id=n, row=0, yaw_deg=yaw, pitch_deg=pitch) for n, (yaw, pitch) in enumerate(poses))


@cache
def sphere() -> tuple[Frame, ...]:
    return make_plan(kit_of(16.0), 0.3).frames


def _row(pitch_deg: float) -> tuple[Frame, ...]:
    return frames_at(*((-180.0 + 40 * n, pitch_deg) for n in range(9)))


NADIR = Frame(id=6, row=1, yaw_deg=0.0, pitch_deg=-90.0, by_hand=True)
SHAPES: dict[str, tuple[Frame, ...]] = {
    "sphere": sphere(),
    "row at pitch 0": _row(0.0),
    "row close to pitch 0": _row(0.2),
    "window far from zero": frames_at(*((100.0 + 12 * n, pitch) for pitch in (20.0, 35.0) for n in range(4))),
    "column at yaw 0": frames_at(*((0.0, pitch) for pitch in (-60.0, -30.0, 0.0, 30.0, 60.0))),
    "free poses": frames_at((-143.2, 12.5), (31.7, -48.1), (0.0, 71.3), (88.8, -3.3), (-0.1, -0.2), (171.0, -20.0)),
    "one frame": frames_at((75.0, 20.0)),
    "one frame at zero": frames_at((0.0, 0.0)),
    "a row and the nadir by hand": (*frames_at(*((-160.0 + 64 * n, 15.0) for n in range(6))), NADIR),
}
PLAY = {"pan": {"backlash_deg": 0.3}, "tilt": {"backlash_deg": 0.3}}
KITS: dict[str, Kit] = {
    "no play": kit_of(16.0),
    "play": kit_of(16.0, head=PLAY),
    "brackets": kit_of(16.0, head=PLAY, exposure={"bracket_ev": [-1, 1]}),
}


@dataclass(frozen=True)
class Slipped:
    """A run in which motors slipped: its end, its sentence, and how far the exposures that count are off, in degrees."""

    result: RunResult
    off_deg: dict[tuple[int, int], float]
    unchecked: tuple[str, ...]
    retaken: int
    happenings: list[Happening]
    truth: list[TrueExposure]

    @property
    def worst_deg(self) -> float:
        return max(self.off_deg.values(), default=0.0)

    def is_honest(self, kit: Kit) -> bool:
        """Whether the truth is within tolerance, the run is not complete, or it names the axis that was not checked."""
        return self.worst_deg <= allowed_deg(kit) or not self.result.complete or bool(self.unchecked)


def run_with(kit: Kit, frames: tuple[Frame, ...], faults: Iterable[Fault], folder: Path, seed: int = 1) -> Slipped:
    """Run on a rig with these faults; a killed host starts again at once."""
    rig = Rig(replace(rig_spec(kit, seed), scenario=Scenario("drawn", "", tuple(faults))))
    port = VirtualPort(rig)

    def hold(question: YesNoQuestion) -> bool:
        assert question.hold_deg is not None
        rig.head.hold_by_hand(*question.hold_deg)
        return True

    result = None
    with Session.create(folder / "session.sqlite", {}, durable=False) as session:
        for _ in range(MOST_LIVES):
            program = build_program(kit, frames, session.made())
            try:
                result = Runner(program, port, session, ask=hold, first_id=session.next_command_id()).run()
                break
            except HostKilled:
                rig.host.killed = False
        by_hand = {frame.id for frame in frames if frame.by_hand}
        made, unchecked = session.made(), session.unchecked_axes(kit, by_hand)
        retaken, happenings = len(session.doubts()), session.happenings()
    assert result is not None
    aims = {frame.id: (frame.yaw_deg, frame.pitch_deg) for frame in frames}
    latest = {(one.frame, one.exposure): one for one in rig.truth.exposures}
    off = {one: apart_deg((latest[one].yaw_deg, latest[one].pitch_deg), aims[one[0]]) for one in made}
    return Slipped(result, off, unchecked, retaken, happenings, rig.truth.exposures)


def allowed_deg(kit: Kit) -> float:
    """How far off a pose may be: the tolerance that the plan is proved for or, on a coarse head, what can hide."""
    unseen = math.hypot(unseen_deg(kit.head, kit.head.pan), unseen_deg(kit.head, kit.head.tilt))
    coarse = kit.head.level_error_deg < unseen
    return unseen + within_deg(kit) if coarse else kit.head.pointing_error_deg()


def slip(axis: str, steps: float, at_s: float) -> Fault:
    return Fault("steps-lost", at_s=at_s, axis=axis, steps=steps)


def any_size(random: Random) -> int:
    """A slip of any size, each order of magnitude equally likely, either way."""
    return random.choice((-1, 1)) * round(math.exp(random.uniform(0, math.log(MOST_STEPS))))


def any_faults(random: Random, seconds: float) -> list[Fault]:
    """A slip of one axis or both, at any time; sometimes with another fault."""
    axes = random.choice((["pan"], ["tilt"], ["pan", "tilt"]))
    faults = [slip(axis, any_size(random), random.uniform(0, 1.2 * seconds)) for axis in axes]
    besides = ("misfire", "board-reset", "supply-dip", "line-cut", "host-killed")
    for kind in (kind for kind in besides if random.random() < 0.2):
        faults.append(
            Fault(kind, at_s=random.uniform(0, seconds), for_s=random.uniform(1, 20), times=random.randint(1, 5))
        )
    return faults


def expected_s(kit: Kit, frames: tuple[Frame, ...]) -> float:
    return build_program(kit, frames).expected_ns / NS
