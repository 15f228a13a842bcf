"""What shaped ramps save: whole runs on rigs that swing as fast and as long as the kit allows, and beyond it."""

import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random

from controller.capture.runner import Runner
from controller.commands.stand_in import rig_spec
from controller.kit.kit import Kit
from controller.kit.load import kit_from_tables
from controller.planning.make import make_plan
from controller.planning.plan import Frame
from controller.program.arrival import plain
from controller.program.build import build_program
from controller.program.course import move_ns
from controller.program.program import ExposeStep, MoveStep, Program
from controller.session.session import Session
from protocol.units import NS
from sim.rig import Rig, RigSpec
from sim.scenario import Scenario
from sim.virtual_port import VirtualPort
from tests.bench.figures import Figure, work_s
from tests.end_to_end.drawn_rigs import drawn_frames, drawn_kit, inside, outside, shoot

AXES = {
    "pan": {"max_speed_deg_s": 30.0, "max_accel_deg_s2": 40.0, "gear_ratio": 36.0},
    "tilt": {"max_speed_deg_s": 20.0, "max_accel_deg_s2": 30.0, "gear_ratio": 60.0},
}
OVER_FLOOR = 1.25
TRUE = ((1.0, 1.0), (0.9, 0.5), (0.9, 1.5), (1.1, 0.5), (1.1, 1.5))
"""Shares of the kit's frequency and damping on the true rigs."""
RIGS = 300


@dataclass(frozen=True)
class Outfit:
    """A lens on a head that swings, and seconds: of the program before ramps were shaped, and the goal."""

    focal_length_mm: float
    ring_hz: float
    damping: float
    before_s: float
    goal_s: float
    bracket_ev: tuple[float, ...] = (0.0,)

    def kit(self, *, shapes: bool = True) -> Kit:
        """The invented kit; its board shapes ramps or not."""
        tables = {
            "camera": {"sensor_width_mm": 36.0, "sensor_height_mm": 24.0, "pixels_wide": 6000, "pixels_high": 4000},
            "lens": {"focal_length_mm": self.focal_length_mm},
            "exposure": {"bracket_ev": list(self.bracket_ev)},
            "head": {"ring_hz": self.ring_hz, "ring_damping": self.damping, **AXES},
            "board": {"shapes_ramps": shapes},
        }
        return kit_from_tables(tables, "bench")

    @property
    def name(self) -> str:
        """In a few words."""
        bracket = f" x {len(self.bracket_ev)}" if len(self.bracket_ev) > 1 else ""
        return f"{self.focal_length_mm:g} mm{bracket}, {self.ring_hz:g} Hz, {self.damping:g}"


OUTFITS = (
    Outfit(24, 8.0, 0.05, 154, 116, (-2.0, 0.0, 2.0)),
    Outfit(24, 8.0, 0.05, 127, 88),
    Outfit(50, 8.0, 0.05, 363, 206),
    Outfit(50, 4.0, 0.03, 967, 219),
    Outfit(100, 8.0, 0.05, 1178, 540),
    Outfit(100, 5.0, 0.03, 2716, 566),
)


@dataclass(frozen=True)
class Ran:
    """A run: its seconds, those that were predicted, and how many exposures were not still."""

    took_s: float
    predicted_s: float
    moved: int
    worst_px: float


def run_on(program: Program, spec: RigSpec) -> Ran:
    """A whole run in virtual time."""
    rig = Rig(spec)
    with (
        tempfile.TemporaryDirectory() as folder,
        Session.create(Path(folder) / "s.sqlite", {}, durable=False) as session,
    ):
        result = Runner(program, VirtualPort(rig), session).run()
    assert result.complete, result.sentence
    truth = rig.truth.exposures
    worst_px = max(one.motion_px for one in truth)
    return Ran(result.seconds, program.expected_ns / NS, sum(not one.still for one in truth), worst_px)


def true_spec(kit: Kit, seed: int, hz_share: float, damping_share: float) -> RigSpec:
    """The kit's rig, with another frequency and damping; the head begins where `seed` says."""
    world = {"ring_hz_share": hz_share, "ring_damping_share": damping_share}
    return replace(rig_spec(kit, seed), scenario=Scenario("drawn", "", (), world=world))


def parts_s(program: Program) -> dict[str, float]:
    """Seconds of a program: moving, settling, exposing; and of the moves without any shaper.

    Within a bracket the camera gets ready again; after it, the head turns meanwhile.
    """
    unshaped, here = plain(program.axes), (0, 0)
    sums = dict.fromkeys(("moving", "settling", "exposing", "plain moving"), 0)
    for step, following in zip(program.steps, [*program.steps[1:], None], strict=True):
        if isinstance(step, MoveStep):
            there = (step.pan_steps, step.tilt_steps)
            sums["moving"] += step.expected_ns
            sums["plain moving"] += move_ns(program.kit, unshaped, here, there)
            sums["settling"] += 0 if isinstance(following, MoveStep) else step.settle_ns
            here = there
        elif isinstance(step, ExposeStep):
            sums["exposing"] += step.expected_ns
            sums["exposing"] += step.ready_ns if isinstance(following, ExposeStep) else 0
    return {name: total / NS for name, total in sums.items()}


def arriving() -> list[Figure]:
    """Each outfit on several true rigs, beside its goal, its floor, and what it takes on a board that does not shape."""
    return [figure for outfit in OUTFITS for figure in _of(outfit)]


def _of(outfit: Outfit) -> Iterator[Figure]:
    kit, plain_kit = outfit.kit(), outfit.kit(shapes=False)
    plan_s, frames = work_s(lambda: tuple(make_plan(kit, 0.3).frames))
    program_s, program = work_s(lambda: build_program(kit, frames))
    runs = [run_on(program, true_spec(kit, seed, *shares)) for seed, shares in enumerate(TRUE)]
    unshaped = run_on(build_program(plain_kit, frames), true_spec(plain_kit, 0, 1.0, 1.0))
    parts = parts_s(program)
    floor_s = parts["plain moving"] + parts["exposing"]
    took_s = sum(run.took_s for run in runs) / len(runs)  # finding zero depends on where the head begins
    name = outfit.name
    yield Figure(f"{name}: run, {len(frames)} frames", took_s, "s", most=outfit.goal_s)
    yield Figure(f"{name}: ... the longest of {len(runs)}", max(run.took_s for run in runs), "s")
    yield Figure(f"{name}: ... as a multiple of moves and exposures alone", took_s / floor_s, "", most=OVER_FLOOR)
    yield Figure(f"{name}: ... moves without shapers and exposures alone", floor_s, "s")
    yield Figure(f"{name}: ... before ramps were shaped", outfit.before_s, "s")
    yield Figure(f"{name}: ... on a board that does not shape", unshaped.took_s, "s")
    for part in ("moving", "settling", "exposing"):
        yield Figure(f"{name}: ... {part}", parts[part], "s")
    ready_s = took_s - sum(parts[part] for part in ("moving", "settling", "exposing"))
    yield Figure(f"{name}: ... getting ready: board and zero", ready_s, "s")
    yield Figure(f"{name}: ... exposures not still on {len(runs)} rigs", sum(run.moved for run in runs), "", most=0)
    yield Figure(f"{name}: ... worst motion of a picture", max(run.worst_px for run in [*runs, unshaped]), "px", most=0.5)
    off = max(abs(run.predicted_s / run.took_s - 1) for run in [*runs, unshaped]) * 100
    yield Figure(f"{name}: ... predicted against simulated time", off, "%", most=1.0)
    yield Figure(f"{name}: ... processor time of plan, of program", plan_s + program_s, "s")


def drawn_rigs() -> list[Figure]:
    """Exposures that are not still on rigs drawn at random, within what their kits state and beyond it."""
    within, beyond = (_not_still(which) for which in (inside, outside))
    return [
        Figure(f"exposures not still on {RIGS} rigs as their kits state", within[0], "", most=0),
        Figure("... worst motion of a picture", within[1], "px", most=0.5),
        Figure("... share that is not still on rigs other than their kits state", beyond[0] / beyond[2] * 100, "%"),
    ]


def _not_still(true_rig: Callable[[Kit, Random], RigSpec]) -> tuple[int, float, int]:
    """How many exposures, the worst motion in pixels, and how many there are."""
    truth = []
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(RIGS):
            random = Random(seed)
            kit = drawn_kit(random)
            frames: tuple[Frame, ...] = drawn_frames(kit, random)
            truth += shoot(kit, frames, true_rig(kit, random), Path(folder)).truth
    return sum(not one.still for one in truth), max(one.motion_px for one in truth), len(truth)
