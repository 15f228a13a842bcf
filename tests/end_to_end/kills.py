"""The host killed repeatedly in one capture, in virtual time: at chosen effects, with nothing told to the board."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from controller.capture.effects import Effect
from controller.capture.events import Event, EventKind
from controller.capture.runner import Runner, RunResult
from controller.commands.stand_in import rig_spec
from controller.kit.kit import Kit
from controller.planning.make import make_plan
from controller.planning.plan import Plan
from controller.program.build import build_program
from controller.session.rows import RunReason, ShotOutcome
from controller.session.session import Session
from sim.rig import Rig
from sim.scenario import Scenario
from sim.truth import TrueExposure
from sim.virtual_port import HostKilled, VirtualPort
from tests.end_to_end.whole_runs import apart_deg, kit_of, let_pass, within_deg

MOST_LIVES = 400
BEYOND_US = {"gust", "index-moved", "gust_peak_deg"}  # faults that move exposures off target without a sign
STRIDE = 29  # effects of a life: more than a start takes, so that each life makes progress


VISITS = 10  # after this many kills somebody looks at the camera


class Killed(Exception):
    """The host was killed."""


class Mortal(Runner):
    """A runner that is killed before its `life`-th effect: no clean-up, no last message to the board."""

    life = 0

    def run(self) -> RunResult:
        self._handle(Event(EventKind.START, self._port.now()))
        while self._result is None:
            self._handle(self._wait_event())
        return self._result

    def _perform(self, effect: Effect, at_ns: int) -> None:
        if self.life == 0:
            raise Killed
        self.life -= 1
        super()._perform(effect, at_ns)


@dataclass
class Outcome:
    """The result of a capture whose host was killed so many times."""

    kills: int = 0
    complete: bool = False
    twice: int = 0
    retaken: int = 0
    wrong: list[str] = field(default_factory=list)
    """Claims that are not true; and, except for undetectable faults, exposures off target."""


def sphere_of(frames: int) -> Plan:
    """A sphere of sixteen or forty frames with three exposures each."""
    focal_length_mm = {16: 14.0, 40: 28.0}[frames]
    plan = make_plan(kit_of(focal_length_mm, exposure={"bracket_ev": [-1, 0, 1], "shutter_seconds": 0.01}), 0.3)
    assert len(plan.frames) == frames
    return plan


def capture_with_kills(plan: Plan, scenario: Scenario, first: int, folder: Path, seed: int = 1) -> Outcome:
    """Kill the host before its `first`-th effect and then every STRIDE effects, until the set is complete.

    If a run says that it cannot recover by itself, somebody mends the cause before it is resumed.
    """
    rig = Rig(replace(rig_spec(plan.kit, seed), scenario=scenario))
    port = VirtualPort(rig)
    outcome = Outcome()
    left = first
    with Session.create(folder / "s.sqlite", {}, durable=False) as session:
        for _ in range(MOST_LIVES):
            made = session.made()
            outcome.wrong += _claims(session, rig)
            if plan.exposures <= made and any(run.complete for run in session.runs()[-1:]):
                break
            runner = Mortal(build_program(plan.kit, plan.frames, made), port, session, first_id=session.next_command_id())
            runner.life = left
            session.begin_run(RunReason.RESUMED, None)
            try:
                result = runner.run()
            except (Killed, HostKilled):
                outcome.kills += 1
                rig.host.killed = False
                left = STRIDE
                if outcome.kills % VISITS == 0:
                    rig.camera.card_left = rig.camera.battery_left = None
                _rest(port, rig, seed * outcome.kills % 20)
                continue
            left = runner.life
            session.end_run(result.sentence, complete=result.complete)
            if result.complete:
                continue
            rig.camera.card_left = rig.camera.battery_left = None
            _rest(port, rig, 60)
        outcome.complete = plan.exposures <= session.made()
        outcome.retaken = len(session.doubts())
    outcome.wrong += lacking(plan, rig.truth.exposures)
    made_of = Counter((one.frame, one.exposure) for one in rig.truth.exposures)
    outcome.twice = sum(made_of.values()) - len(made_of)
    if not BEYOND_US & {*scenario.world, *(fault.kind for fault in scenario.faults)}:
        outcome.wrong += [f"{one} is astray" for one in astray(plan, plan.kit, rig.truth.exposures)]
    return outcome


def _rest(port: VirtualPort, rig: Rig, seconds: float) -> None:
    """Let time pass between two lives. A fault that kills the host finds none."""
    try:
        let_pass(port, seconds)
    except HostKilled:
        rig.host.killed = False


def lacking(plan: Plan, truth: Sequence[TrueExposure]) -> list[str]:
    """Shutter times that a frame lacks, by the true exposures alone: the camera shoots its bracket in turn."""
    made = {(one.frame, round(one.shutter_s, 6)) for one in truth}
    wanted = {(frame.id, round(time, 6)) for frame in plan.frames for time in plan.kit.shutter_times_s()}
    return [f"frame {frame} has no exposure of {time} s" for frame, time in sorted(wanted - made)]


def _claims(session: Session, rig: Rig) -> list[str]:
    """Claims of the session that the truth does not confirm."""
    made = {(one.frame, one.exposure) for one in rig.truth.exposures}
    claimed = {
        (shot.intent.frame, shot.intent.exposure) for shot in session.shots() if shot.outcome is ShotOutcome.CONFIRMED
    }
    return [f"{exposure} was claimed and not made" for exposure in claimed - made]


def astray(plan: Plan, kit: Kit, truth: list[TrueExposure]) -> list[TrueExposure]:
    """True exposures, the latest of each, that were blurred by motion or point elsewhere."""
    aims = {frame.id: (frame.yaw_deg, frame.pitch_deg) for frame in plan.frames}
    latest = {(one.frame, one.exposure): one for one in truth}
    return [
        one
        for one in latest.values()
        if not one.still or apart_deg((one.yaw_deg, one.pitch_deg), aims[one.frame]) > within_deg(kit)
    ]
