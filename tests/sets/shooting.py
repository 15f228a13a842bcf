"""The run of a set: the real program on the simulated rig in virtual time, and the film of what the camera saw."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

from controller.capture.events import EventKind, Wanted
from controller.capture.runner import Runner
from controller.commands.stand_in import rig_spec
from controller.planning.make import make_plan
from controller.planning.plan import Plan
from controller.program.build import build_program
from controller.session.rows import REHEARSAL, RunReason
from controller.session.session import Session
from sim.rig import Rig, RigSpec
from sim.scene.film import Film, View
from sim.virtual_port import VirtualPort
from tests.sets.spec import Hidden, SetSpec


def shoot(spec: SetSpec, seed: int, session: Path) -> tuple[Plan, list[View]]:
    """Plan and shoot the set, with a session at `session`; return the plan and the exposures in order."""
    kit, plan = (
        spec.kit(),
        _plan(replace(spec, made=None, bareness=None, passers=(0, 0), open_surfaces=False, hidden=Hidden())),
    )
    rig = Rig(_with_play(rig_spec(kit, seed), spec.hidden.play_deg))
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


@lru_cache(maxsize=8)
def _plan(spec: SetSpec) -> Plan:
    return make_plan(spec.kit(), spec.overlap, spec.request())


def _with_play(rig: RigSpec, play_deg: tuple[float, float]) -> RigSpec:
    pan, tilt = (replace(axis, play_deg=play) for axis, play in zip((rig.head.pan, rig.head.tilt), play_deg, strict=True))
    return replace(rig, head=replace(rig.head, pan=pan, tilt=tilt))
