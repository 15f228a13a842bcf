"""One rig with a troubled line, and a whole run on it."""

from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from controller.capture.runner import Runner, RunResult
from controller.commands.stand_in import rig_spec
from controller.planning.plan import Plan
from controller.program.build import build_program
from controller.report.summary import Summary, summarise
from controller.session.session import Session
from sim.rig import Rig
from sim.scenario import Fault, Scenario
from sim.virtual_port import VirtualPort
from sim.wire import SOUND, LineTrouble


class World:
    """One rig with a troubled line and faults, and one run on it."""

    def __init__(self, plan: Plan, trouble: LineTrouble = SOUND, *faults: Fault, seed: int = 1) -> None:
        self.plan = plan
        scenario = Scenario("drawn", "", faults)
        self.rig = Rig(replace(rig_spec(plan.kit, seed), trouble=trouble, scenario=scenario))
        self.port = VirtualPort(self.rig)

    def run(self, folder: Path) -> tuple[RunResult, Summary]:
        program = build_program(self.plan.kit, self.plan.frames)
        with Session.create(folder / "s.sqlite", {}, durable=False) as session:
            result = Runner(program, self.port, session).run()
            summary = summarise(
                self.plan,
                session.shots(),
                session.doubts(),
                kind="rehearsal",
                seed=1,
                sentence=result.sentence,
                seconds=result.seconds,
            )
        return result, summary

    def check(self, summary: Summary) -> None:
        """Check that everything planned was truly made, still; that claims are true; and that at most one bracket was
        repeated unasked: the camera shoots it by itself, so it is turned to its beginning after an exposure in doubt.
        """
        made = Counter((one.frame, one.exposure) for one in self.rig.truth.exposures)
        assert summary.complete, summary.sentence
        assert set(made) == {(frame.id, e) for frame in self.plan.frames for e in range(3)}
        assert all(one.still for one in self.rig.truth.exposures)
        assert sum(made.values()) - len(made) <= 3 + summary.exposures_retaken
        where = {frame.id: frame for frame in self.plan.frames}
        for one in self.rig.truth.exposures:
            frame = where[one.frame]
            assert one.pitch_deg == pytest.approx(frame.pitch_deg, abs=0.01)
            if abs(frame.pitch_deg) < 90:
                assert (one.yaw_deg - frame.yaw_deg + 180) % 360 - 180 == pytest.approx(0, abs=0.01)
