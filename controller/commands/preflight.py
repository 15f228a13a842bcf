"""What is looked at before anything moves, each with its result."""

import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from controller.calibration.records import Kind as CalibrationKind
from controller.calibration.records import Record
from controller.calibration.use import State, ever, fresh
from controller.kit.kit import Kit
from controller.planning.plan import Plan
from controller.program.build import build_steps
from controller.program.program import ExposeStep, Exposure, Program
from controller.program.turn import Turn
from controller.report.wording import counted, duration
from controller.session.rows import NOTHING, Remembered
from protocol.messages import Capability, Welcome
from protocol.units import NS

RELIED_ON = (CalibrationKind.STEPS, CalibrationKind.BACKLASH, CalibrationKind.LEVEL)
ORDINALS = (
    "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth", "eleventh",
    "twelfth", "thirteenth", "fourteenth", "fifteenth",
)  # fmt: skip
LEAST_FREE_MB = 20  # for a session with its journal, many times over


@dataclass(frozen=True, slots=True)
class Check:
    """One thing looked at before anything moves: what, what was found, and whether the run may go on."""

    what: str
    found: str
    good: bool = True


def checks(plan: Plan, program: Program, welcome: Welcome, out: Path, remembered: Remembered = NOTHING) -> list[Check]:
    """All checks, in the order in which they are read.

    `out` is the session that will be written; `remembered` is what it holds of runs before this one.
    """
    proof = plan.proof
    fits = proof.worst_margin_deg >= proof.pointing_error_deg
    fastest = max(program.pan.speed_steps_s, program.tilt.speed_steps_s)
    frames, left = counted(len(plan.frames), "frame"), counted(len(program.exposures), "exposure")
    return [
        Check("plan", f"{frames}, {'proved' if proof.covered else 'proved for a level head only'}; {left} to make"),
        Check(
            "pointing",
            f"survives {proof.worst_margin_deg:.2f}° of error, this head may be off by {proof.pointing_error_deg:.2f}°"
            + ("" if fits else ": neighbours may share a little less than asked"),
        ),
        Check("board", f"up to {welcome.max_step_rate} steps/s", welcome.max_step_rate >= fastest),
        *_switch_checks(plan, welcome),
        _contact_check(plan, welcome),
        *_bracket_check(plan, program, welcome, remembered),
        _energy_check(plan, program),
        Check("card", f"about {plan.budget.megabytes / 1000:.1f} GB for the whole set: see that it is free"),
        _disk_check(out),
    ]


def calibration_checks(kit: Kit, records: Sequence[Record], now: datetime) -> list[Check]:
    """How the calibration stands. One that was made for another gearing is no calibration of this head."""
    found = []
    for standing in fresh(kit, records, now):
        if standing.kind not in RELIED_ON:
            continue
        outdated = standing.state is State.MISSING and ever(records, standing.kind, standing.axis)
        found.append(Check("calibration", standing.sentence.removesuffix("."), good=not outdated))
    return found


def _switch_checks(plan: Plan, welcome: Welcome) -> list[Check]:
    found = []
    head = plan.kit.head
    for name, axis, bit in (("pan", head.pan, Capability.PAN_SWITCH), ("tilt", head.tilt, Capability.TILT_SWITCH)):
        fitted = bool(welcome.capabilities & bit)
        if fitted == axis.zero_switch:
            text = "a switch finds it" if fitted else "no switch: you set it at the mark"
            found.append(Check(f"zero of {name}", text))
        else:
            has, has_not = ("the board", "the kit") if fitted else ("the kit", "the board")
            found.append(Check(f"zero of {name}", f"{has} has a switch and {has_not} has not", good=False))
    return found


def _contact_check(plan: Plan, welcome: Welcome) -> Check:
    fitted = bool(welcome.capabilities & Capability.SYNC_CONTACT)
    if plan.kit.board.sync_contact:
        return Check("sync contact", "fitted" if fitted else "the kit has one and the board has not", fitted)
    return Check("sync contact", "none: exposures will be assumed, not confirmed")


def _bracket_check(plan: Plan, program: Program, welcome: Welcome, remembered: Remembered) -> list[Check]:
    """Where the camera must be in its bracket, if it makes that by itself and anything is left to shoot."""
    exposure = plan.kit.exposure
    if not exposure.takes_turns or not program.exposures:
        return []
    steps = ", ".join(f"{ev:+g}" for ev in exposure.bracket_ev)

    def named(frame: int, number: int) -> str:
        return f"{exposure.bracket_ev[number]:+g} EV ({ORDINALS[number]} of frame {frame})"

    if _will_be_heard_of(welcome, remembered):
        assert remembered.in_doubt is not None
        doubtful = named(*remembered.in_doubt[1:])
        where = f"leave it where it is. The board is asked first whether it made {doubtful}"
    else:
        where = f"the next one must be {named(*_coming(program, remembered))}"
    return [Check("bracket", f"the camera makes {steps} EV in turn: {where}")]


def _will_be_heard_of(welcome: Welcome, remembered: Remembered) -> bool:
    """Whether the board can still say how the exposure in doubt ended: it took it, and has not restarted since."""
    return (
        remembered.in_doubt is not None
        and remembered.boot_id == welcome.boot_id
        and remembered.in_doubt[0] <= welcome.last_command_id
    )


def _coming(program: Program, remembered: Remembered) -> Exposure:
    """The exposure that the run makes first. What stays in doubt may have been made or not."""
    members = len(program.kit.exposure.bracket_ev)
    turn = Turn.resumed(members, remembered.exposures, remembered.latest)
    wanted = {(step.frame, step.exposure) for step in program.exposures}
    if remembered.in_doubt is not None:
        turn = turn.lost(remembered.in_doubt[1])
    steps = build_steps(program.kit, program.frames, wanted, turn=turn)
    return next((step.frame, step.exposure) for step in steps if isinstance(step, ExposeStep))


def _energy_check(plan: Plan, program: Program) -> Check:
    power = plan.kit.power
    need = program.expected_ns / NS / 3600 * (power.head_watts + power.camera_watts)
    text = f"about {need:.1f} Wh in {duration(program.expected_ns / NS)}"
    if power.battery_watt_hours is None:
        return Check("battery", text + "; the kit does not say what the battery holds")
    return Check("battery", f"{text} of {power.battery_watt_hours:g} Wh", need <= power.battery_watt_hours)


def _disk_check(out: Path) -> Check:
    free_mb = shutil.disk_usage(out.absolute().parent).free / 1e6
    return Check("disk", f"{free_mb:.0f} MB free for the session", free_mb >= LEAST_FREE_MB)
