"""People before motion: warn them, ask them, and decide when to do so again."""

from controller.capture.effects import Announce, Ask, Timer
from controller.capture.events import Event
from controller.capture.people import MOMENT_NS, YesNoQuestion
from controller.capture.run import Run
from controller.program.program import AskStep, MoveStep

CAMERA_BACK = "Is the camera back on the head and locked, and are hands and cables clear of what turns?"
CLEAR = "Is the head clear of hands and cables, so that it may move again?"

# Conditions.


def must_ask_first(run: Run, _: Event) -> bool:
    """Whether motion comes next and a person must first allow it."""
    people = run.people
    if people.care is None or not run.motion_is_next:
        return False
    asks = people.care.always_asks or (people.care.asks and people.person_seen)
    return people.in_hand or (asks and people.begun and not people.announced and not people.may_move)


def must_warn(run: Run, _: Event) -> bool:
    """Whether motion comes next and people have not been warned."""
    return not run.people.announced and run.motion_is_next


def holds_camera(run: Run, _: Event) -> bool:
    """Whether the question was if the camera is held for a frame by hand."""
    return run.people.asks_to_hold


def declined_motion(run: Run, _: Event) -> bool:
    """Whether the operator has refused motion for now."""
    return not run.people.asks_to_hold


def ask_is_due(run: Run, _: Event) -> bool:
    """Whether the next step is a frame by hand."""
    return run.progress.comes(AskStep)


# Notes.


def note_warned(run: Run, event: Event) -> None:
    """Note that the warning has lasted its time. If the host slept through it, people are warned again."""
    if event.at_ns > run.people.opens_ns + MOMENT_NS:
        return
    run.people.announced = run.people.begun = True
    run.people.may_move = run.people.person_seen = False


def note_answered(run: Run, _: Event) -> None:
    """Note a yes."""
    if not run.people.asks_to_hold:
        run.people.in_hand, run.people.may_move = False, True


def note_declined(run: Run, _: Event) -> None:
    """Note a no: motion waits, or a frame by hand is left out."""
    if run.people.asks_to_hold:
        run.progress.leave_out()
        run.progress.advance()
        run.take_up_more()


# Actions.


def ask(run: Run, _: Event) -> None:
    """Ask if the camera is back on the head, if the head may move, or for a frame by hand."""
    people = run.people
    if run.motion_is_next:
        question = YesNoQuestion(CAMERA_BACK if people.in_hand else CLEAR, needs_person=True)
    else:
        step = run.progress.step(AskStep)
        words = (
            f"Frame {step.frame} is shot by hand; the head stays still meanwhile. Support the camera and take it off. "
            f"Aim at yaw {step.yaw_deg:.1f}°, pitch {step.pitch_deg:.1f}° and hold still. Ready? (n leaves it out)"
        )
        question = YesNoQuestion(words, needs_person=True, hold_deg=(step.yaw_deg, step.pitch_deg))
        people.in_hand = True  # whatever the answer is
    people.question = question
    run.shut()
    run.effects += [Timer(None, overdue=False), Ask(question)]


def warn(run: Run, event: Event) -> None:
    """Warn people and give them time."""
    people = run.people
    assert people.care is not None
    lead_ns = people.care.lead_again_ns if people.begun else people.care.lead_ns
    people.opens_ns = event.at_ns + lead_ns
    run.effects.append(Announce(_why(run), lead_ns))


def _why(run: Run) -> str:
    to = run.progress.nearest()
    begins = "the run goes on" if run.people.begun else "the run begins"
    if not run.position.known:
        return f"{begins} by finding zero on both axes, then turns to frame {to.frame}"
    if isinstance(to, MoveStep):
        pan_deg = to.pan_steps / run.program.pan.steps_per_degree
        tilt_deg = to.tilt_steps / run.program.tilt.steps_per_degree
        return f"{begins} with frame {to.frame} (pan {pan_deg:z.0f}°, tilt {tilt_deg:z.0f}°)"
    return f"{begins} with frame {to.frame}"
