"""The checks before anything moves: what the program found right, and what only the operator can check."""

import shutil
from dataclasses import dataclass
from pathlib import Path

from controller.amounts import counted, duration, storage
from controller.capture.words.board import plain_ramps
from controller.kit.exposing import noise_text, times_text
from controller.kit.kit import Kit
from controller.kit.provenance import Source
from controller.planning.plan import Plan
from controller.planning.sun_caution import may_face_sun
from controller.program.build import build_steps
from controller.program.program import ExposeStep, Exposure, Program
from controller.program.turn import BracketPosition
from controller.session.new_place import LEAST_FREE_BYTES
from controller.session.rows import NOTHING, Remembered
from controller.sizes import size_text
from protocol.messages import Capability, Welcome
from protocol.units import NS

ORDINALS = (
    "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth", "eleventh",
    "twelfth", "thirteenth", "fourteenth", "fifteenth",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Check:
    """One check before anything moves: what, what was found, and whether the run may begin.

    `looked` is whether this program itself found it right; if not, a person must check it.
    """

    what: str
    found: str
    good: bool = True
    looked: bool = True

    @property
    def word(self) -> str:
        """`ok` if the program looked at it, `see` if you must check it yourself, `NO` if it prevents the run."""
        return word_of(self.good, looked=self.looked)

    @property
    def text(self) -> str:
        """The line that people read."""
        return f"{self.word:4}{self.what}: {self.found}"


def word_of(good: bool, *, looked: bool) -> str:
    """The word for a check: looked at, to be checked by a person, or wrong."""
    return "NO" if not good else "ok" if looked else "see"


def checks(plan: Plan, program: Program, welcome: Welcome, out: Path, remembered: Remembered = NOTHING) -> list[Check]:
    """All checks, in the order in which they are read.

    `out` is the session that will be written; `remembered` is what it contains of earlier runs.
    """
    fastest = max(program.pan.speed_steps_s, program.tilt.speed_steps_s)
    frames, left = counted(len(plan.first_pass), "frame"), counted(len(program.exposures), "exposure")
    frames += f" in {plan.passes} passes" if plan.passes > 1 else ""
    return [
        Check("plan", f"{frames}, {'proved' if plan.proof.covered else 'proved for a level head only'}; {left} to make"),
        _pointing_check(plan),
        Check("board", f"up to {welcome.max_step_rate} steps/s", welcome.max_step_rate >= fastest),
        *_switch_checks(plan, welcome),
        _contact_check(plan, welcome),
        *_ramp_check(program, welcome),
        *_exposure_checks(plan.kit, program, remembered),
        *_bracket_check(plan, program, welcome, remembered),
        _energy_check(plan, program, welcome),
        Check("card", f"about {storage(plan.budget.megabytes)} for the whole set: see that it is free", looked=False),
        _disk_check(out),
        *_sun_check(plan, program),
    ]


def _pointing_check(plan: Plan) -> Check:
    proof = plan.proof
    fits = proof.worst_margin_deg >= proof.pointing_error_deg
    text = f"survives {proof.worst_margin_deg:.2f}° of error, this head may be off by {proof.pointing_error_deg:.2f}°" + (
        "" if fits else ": neighbours may share a little less than requested"
    )
    if plan.kit.source("head.level_error_deg") is Source.EXAMPLE:
        text += f" if it stands level within {plan.kit.head.level_error_deg:g}° (level_error_deg is not stated)"
        fits = False
    return Check("pointing", text, looked=fits)


def _exposure_checks(kit: Kit, program: Program, remembered: Remembered) -> list[Check]:
    """What the camera will shoot. The program cannot check it: it depends on the camera's settings."""
    if not program.exposures:
        return []
    exposure = kit.exposure
    text = times_text(exposure)
    if kit.source("exposure.shutter_seconds") is Source.EXAMPLE:
        text += " (an example: shutter_seconds is not stated)"
    if exposure.too_long_s and remembered.exposures == 0:
        # An older version planned such sets. One that is begun may be finished: that camera has made such exposures.
        ends = f"its shutter ends at {exposure.longest_timed_s:g} s"
        return [Check("exposures", f"{text}, but {ends}: set bulb = true and plan again", good=False)]
    set_to = "set it to B" if exposure.bulb else "see that it is set so"
    found = [Check("exposures", f"{text}: {set_to}", looked=False)]
    noise = noise_text(kit)
    if noise is not None:
        found.append(Check("noise reduction", f"{noise}; the camera's menu decides", looked=False))
    return found


def _switch_checks(plan: Plan, welcome: Welcome) -> list[Check]:
    found = []
    head = plan.kit.head
    for name, axis, bit in (("pan", head.pan, Capability.PAN_SWITCH), ("tilt", head.tilt, Capability.TILT_SWITCH)):
        fitted = bool(welcome.offers & bit)
        if fitted == axis.zero_switch:
            text = "a switch finds it" if fitted else "no switch: you set it at the mark"
            found.append(Check(f"zero of {name}", text, looked=fitted))
        else:
            has, has_not = ("the board", "the kit") if fitted else ("the kit", "the board")
            found.append(Check(f"zero of {name}", f"{has} has a switch and {has_not} has not", good=False))
    return found


def _contact_check(plan: Plan, welcome: Welcome) -> Check:
    fitted = bool(welcome.offers & Capability.SYNC_CONTACT)
    if plan.kit.board.sync_contact:
        return Check("sync contact", "fitted" if fitted else "the kit has one and the board has not", fitted)
    return Check("sync contact", "none: exposures will be assumed, not confirmed", looked=False)


def _ramp_check(program: Program, welcome: Welcome) -> list[Check]:
    """Whether the board shapes its ramps, if that makes a difference."""
    if _shapes(welcome):
        return [Check("ramps", "shaped, so that the camera arrives still")] if program.counts_on_shaping else []
    longer_ns = program.whole_ns(shaped=False) - program.whole_ns(shaped=True)
    return [Check("ramps", plain_ramps(longer_ns), looked=False)] if program.counts_on_shaping else []


def _shapes(welcome: Welcome) -> bool:
    return bool(welcome.offers & Capability.SHAPER)


def _bracket_check(plan: Plan, program: Program, welcome: Welcome, remembered: Remembered) -> list[Check]:
    """Which exposure the camera must make next, if it makes the bracket by itself and anything is left to shoot."""
    exposure = plan.kit.exposure
    if not exposure.shoots_bracket_itself or not program.exposures:
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
    return [Check("bracket", f"the camera makes {steps} EV in turn: {where}", looked=False)]


def _will_be_heard_of(welcome: Welcome, remembered: Remembered) -> bool:
    """Whether the board can still say how the exposure in doubt ended: it accepted it, and has not restarted since."""
    return (
        remembered.in_doubt is not None
        and remembered.boot_id == welcome.boot_id
        and remembered.in_doubt[0] <= welcome.last_command_id
    )


def _coming(program: Program, remembered: Remembered) -> Exposure:
    """The exposure that the run makes first. The exposure in doubt may have been made or not."""
    members = len(program.kit.exposure.bracket_ev)
    turn = BracketPosition.resumed(members, remembered.exposures, remembered.latest)
    wanted = {(step.frame, step.exposure) for step in program.exposures}
    if remembered.in_doubt is not None:
        turn = turn.lost(remembered.in_doubt[1])
    steps = build_steps(program.kit, program.frames, wanted, program.axes, turn=turn)
    return next((step.frame, step.exposure) for step in steps if isinstance(step, ExposeStep))


def _energy_check(plan: Plan, program: Program, welcome: Welcome) -> Check:
    """Whether a full battery would do, by the rig's own figures. Its actual charge cannot be checked."""
    power = plan.kit.power
    seconds = program.whole_ns(shaped=_shapes(welcome)) / NS
    need = seconds / 3600 * power.watts
    text = f"about {need:.1f} Wh in {duration(seconds)}"
    examples = [key for key in ("head_watts", "camera_watts") if plan.kit.source(f"power.{key}") is Source.EXAMPLE]
    if examples:
        text += f" by examples ({' and '.join(examples)} not stated)"
    if power.battery_watt_hours is None:
        return Check("battery", text + "; the kit does not say what the battery holds", looked=False)
    enough = need <= power.battery_watt_hours
    return Check(
        "battery", f"{text}, of {power.battery_watt_hours:g} Wh if it is full: see that it is", enough, looked=False
    )


def _sun_check(plan: Plan, program: Program) -> list[Check]:
    """A caution if a frame that is left to shoot may face the sun. The head cannot know where the sun is."""
    left = {step.frame for step in program.exposures}
    seen = sorted(left & set(plan.sun.frames)) if plan.sun is not None else []
    if not left or not (seen or may_face_sun(plan)):
        return []
    which = f"frames {', '.join(map(str, seen))} see it, by the plan's start" if seen else "frames may face it"
    longer = "; the bracket's long exposures harm most" if len(plan.kit.exposure.bracket_ev) > 1 else ""
    text = f"{which}: nobody looks through the viewfinder; lens, shutter and sensor can be damaged{longer}"
    return [Check("sun", text, looked=False)]


def _disk_check(out: Path) -> Check:
    free_bytes = shutil.disk_usage(out.absolute().parent).free
    return Check("disk", f"{size_text(free_bytes)} free for the session", free_bytes >= LEAST_FREE_BYTES)
