"""The run of a set: the real program on the simulated rig in virtual time, and the film of what the camera saw."""

from __future__ import annotations

from pathlib import Path

from controller.capture.events import EventKind, Wanted
from controller.capture.runner import Runner
from controller.commands.stand_in import rig_spec
from controller.planning.make import make_plan
from controller.planning.plan import Plan
from controller.program.build import build_program
from controller.session.rows import REHEARSAL, RunReason
from controller.session.session import Session
from sim.rig import Rig
from sim.scene.film import Film, View
from sim.virtual_port import VirtualPort
from tests.sets.spec import SetSpec


def shoot(spec: SetSpec, seed: int, session: Path) -> tuple[Plan, list[View]]:
    """Plan and shoot the set, with a session at `session`; return the plan and the exposures in order."""
    kit = spec.kit()
    plan = make_plan(kit, spec.overlap, spec.request())
    rig = Rig(rig_spec(kit, seed))
    rig.head.pan.steps_per_degree /= 1 + spec.hidden.pan_scale
    rig.head.tilt.steps_per_degree /= 1 + spec.hidden.tilt_scale
    film = rig.truth = Film()
    about = {"kind": REHEARSAL, "seed": str(seed), "plan": plan.model_dump_json(), "plan_hash": plan.hash}

    asked = False

    def stop_in_time() -> Wanted | None:
        nonlocal asked
        if asked or spec.made is None or len(film.views) < spec.made:
            return None
        asked = True
        return Wanted(EventKind.STOP)

    with Session.create(session, about, durable=False) as record:
        runner = Runner(build_program(kit, plan.frames), VirtualPort(rig), record, stop_in_time)
        record.begin_run(RunReason.BEGUN, None)
        result = runner.run()
        record.end_run(result.sentence, complete=result.complete)
    return plan, film.views
