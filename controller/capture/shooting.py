"""The photographs, one after the other; a camera that does not answer; and the operator's pauses."""

from controller.capture import requests
from controller.capture.effects import End, Greet, Intend, RampsTold, Send, Timer, Zeroed
from controller.capture.events import Event, EventKind
from controller.capture.run import Run
from controller.capture.tether import PATIENCE_NS
from controller.capture.words.run import THROUGH
from controller.program.program import AskStep, ExposeStep, MoveStep
from controller.session.rows import AXES, DoubtReason, Intent, ShotOutcome
from protocol.messages import Capability, Expose, Move
from protocol.units import Steps

MOST_TRIES = 3
# With this many unanswered exposures in succession it is no misfire: the camera is off, or full.
MOST_SILENT = 3

# Conditions.


def may_still_know(run: Run, _: Event) -> bool:
    """Whether the board has found zero for an earlier run of this session and has not restarted since."""
    return run.board.same_boot


def nothing_left(run: Run, _: Event) -> bool:
    """Whether every exposure is made or given up, and zero was checked after the last one."""
    return run.progress.nothing_left


def zero_is_lost(run: Run, _: Event) -> bool:
    """Whether the position is unknown and an axis has no switch to find it again."""
    return run.zero_is_lost


def must_arm(run: Run, _: Event) -> bool:
    """Whether the board is not armed."""
    return not run.board.armed


def must_reference(run: Run, _: Event) -> bool:
    """Whether the position is unknown."""
    return run.position.must_be_found


def move_is_due(run: Run, _: Event) -> bool:
    """Whether the next step is a move."""
    return run.progress.comes(MoveStep)


def may_try_again(run: Run, _: Event) -> bool:
    """Whether the exposure under way has tries left."""
    return run.progress.tries < MOST_TRIES


def camera_is_gone(run: Run, _: Event) -> bool:
    """Whether the camera has left too many successive exposures unanswered."""
    return run.progress.silent_in_row + 1 >= MOST_SILENT


def exposes_in_wind(run: Run, event: Event) -> bool:
    """Whether an exposure comes next and the board can tell if it is too windy for one."""
    if not run.progress.left or pause_is_due(run, event) or not run.progress.comes(ExposeStep):
        return False
    return bool(run.board.capabilities & Capability.WIND_SENSOR)


def pause_is_due(run: Run, _: Event) -> bool:
    """Whether the operator has requested a pause and this is the place for it."""
    if run.pause_wanted is EventKind.PAUSE_AFTER_ROW:
        return run.progress.row_ends()
    return run.pause_wanted is EventKind.PAUSE


def something_is_missing(run: Run, _: Event) -> bool:
    """Whether the set is not complete."""
    return run.progress.incomplete


def file_is_due(run: Run, _: Event) -> bool:
    """Whether the shutter has opened and the photograph is on its way."""
    return run.awaits_file


# Notes: they record what an event says of the work done, before the table is consulted.


def note_exposed(run: Run, event: Event) -> None:
    """Note the exposure under way as made; with a tether only its shutter has opened."""
    run.conclude(event)
    if not run.awaits_file:
        run.finish(run.progress.step(ExposeStep), event.at_ns)


def note_filed(run: Run, _: Event) -> None:
    """Note the photograph that has arrived: the exposure is made. The camera was busy from when its shutter closed."""
    opened = run.conclude_opened(ShotOutcome.CONFIRMED)
    run.finish(run.progress.step(ExposeStep), opened.at_ns)


def note_no_file(run: Run, _: Event) -> None:
    """Note that no photograph of the exposure under way has arrived."""
    run.conclude_opened(ShotOutcome.UNCONFIRMED)


def note_zero(run: Run, _: Event) -> None:
    """Note that zero is found, so the position is known."""
    run.position.find()
    assert run.board.boot_id is not None
    run.effects.append(Zeroed(run.board.boot_id))


def note_armed(run: Run, _: Event) -> None:
    """Note that the board is armed: a stop from now on belongs to this run."""
    run.board.was_armed = run.board.armed = True


def note_arrived(run: Run, event: Event) -> None:
    """Note the end of the move under way, and go to the next step."""
    move = run.progress.step(MoveStep)
    leads_home = run.position.arrive(move)
    run.still_at_ns = max(run.still_at_ns, event.at_ns + move.wait_ns(shaped=run.board.shapes))
    run.progress.cursor += 1
    if not leads_home and not run.position.look_is_due:
        run.take_up_more()


def note_go_on(run: Run, _: Event) -> None:
    """Note that no pause is requested any more."""
    run.pause_wanted = None


# Actions.


def greet(run: Run, _: Event) -> None:
    """Greet the board."""
    run.effects.append(Greet())


def arm(run: Run, _: Event) -> None:
    """Describe both axes to the board and allow it to move them."""
    assert run.board.boot_id is not None
    run.effects.append(Timer(None, overdue=False))
    board = run.board
    wanted = requests.arming(run.program, run.board.boot_id, board.take_id, shaped=board.shapes)
    run.effects += [RampsTold(board.shapes), *(Send(request) for request in wanted)]


def reference(run: Run, event: Event) -> None:
    """Let the board find zero."""
    program = run.program
    request = requests.reference(program, run.board.take_id())
    run.command(event, request, program.reference_expected_ns, program.reference_deadline_ns)


def move(run: Run, event: Event) -> None:
    """Turn to the next frame."""
    step = run.progress.step(MoveStep)
    request = Move(run.board.take_id(), Steps(step.pan_steps), Steps(step.tilt_steps))
    longer_ns = run.program.longest_move_ns if run.progress.from_anywhere else 0
    run.progress.from_anywhere = False
    run.command(event, request, step.turn_ns(shaped=run.board.shapes), step.deadline_ns + longer_ns)


def expose(run: Run, event: Event) -> None:
    """Store the intent durably, then release the shutter."""
    step = run.progress.step(ExposeStep)
    run.progress.tries += 1
    command_id = run.board.take_id()
    run.shot.id, run.shot.exposure = command_id, (step.frame, step.exposure)
    run.effects.append(Intend(_intent(run, step, command_id)))
    request = Expose(command_id, step.frame, step.exposure, step.focus_ms, step.press_ms, step.limit_ms)
    run.command(event, request, step.expected_ns, step.deadline_ns)


def _intent(run: Run, step: ExposeStep, command_id: int) -> Intent:
    aim = run.progress.aim()
    pan_steps = tilt_steps = pan_deg = tilt_deg = None
    if not isinstance(aim, AskStep):
        pan_steps, tilt_steps = aim.pan_steps, aim.tilt_steps
        pan_deg = aim.pan_steps / run.program.pan.steps_per_degree
        tilt_deg = aim.tilt_steps / run.program.tilt.steps_per_degree
    return Intent(
        frame=step.frame,
        exposure=step.exposure,
        attempt=run.progress.tries,
        command_id=command_id,
        pan_deg=pan_deg,
        tilt_deg=tilt_deg,
        shutter_s=step.shutter_s,
        commanded_pan_steps=pan_steps,
        commanded_tilt_steps=tilt_steps,
    )


def await_file(run: Run, event: Event) -> None:
    """Wait for the photograph, which arrives after its dark frame."""
    deadline_ns = event.at_ns + PATIENCE_NS + run.progress.step(ExposeStep).ready_ns
    run.effects.append(Timer(deadline_ns, overdue=True))


def get_ready(run: Run, event: Event) -> None:
    """Wait for vibration to die down and for the camera, whichever takes longer."""
    run.effects.append(Timer(max(event.at_ns, run.ready_at_ns, run.still_at_ns), overdue=False))


def shoot_by_hand(run: Run, event: Event) -> None:
    """Expose as soon as the camera is ready: it is held in place by hand."""
    run.progress.cursor += 1
    run.still_at_ns = 0
    get_ready(run, event)


def try_again(run: Run, event: Event) -> None:
    """Store that nothing was confirmed, and wait as long as after an exposure."""
    run.conclude(event)
    run.ready_at_ns = event.at_ns + run.progress.step(ExposeStep).ready_ns
    get_ready(run, event)


def put_off(run: Run, event: Event) -> None:
    """Put off an exposure whose tries are used up: it is retried at the end, or given up if that was the retry."""
    step = run.progress.step(ExposeStep)
    try_again(run, event)
    if run.progress.put_off(step):
        run.begin_round()
    else:
        run.progress.advance()
        run.take_up_more()


def stop_silent_camera(run: Run, event: Event) -> None:
    """Stop: the camera no longer answers at all."""
    run.conclude(event)
    silent = "no photograph arrived" if run.tethered else "its sync contact stayed silent"
    run.why = (
        f"The camera did not answer {MOST_TRIES * MOST_SILENT} times running ({silent}); "
        "check the camera, its battery, its card and the cables, then go on with the rest."
    )
    run.stop(event)


# Requests of the operator.


def want_pause(run: Run, event: Event) -> None:
    """Note the request to pause at the next place for it."""
    run.pause_wanted = event.kind


def rest(run: Run, _: Event) -> None:
    """Pause: keep the head still until the next request."""
    run.shut()
    run.effects.append(Timer(None, overdue=False))


def want_again(run: Run, event: Event) -> None:
    """Reshoot these frames after the rest."""
    run.expose_again(run.progress.retake(event.frames), DoubtReason.RETAKE)


# The end.


def close_down(run: Run, event: Event) -> None:
    """Disarm the board: nothing is left to do."""
    run.stop(event)


def complete(run: Run, _: Event) -> None:
    """End the run complete."""
    run.effects.append(End(True, f"{THROUGH}{_not_checked(run)}"))


def complete_without_board(run: Run, _: Event) -> None:
    """End the run complete after the line failed at the end: the board disarms itself when it receives nothing."""
    sentence = (
        f"{THROUGH} The board did not answer at the end: support the camera, then cut the motor power.{_not_checked(run)}"
    )
    run.effects.append(End(True, sentence))


def _not_checked(run: Run) -> str:
    """A sentence on the axes whose zero could not be checked, empty if there are none."""
    axes = [axis for axis in AXES if axis not in run.position.zones]
    if not axes or run.progress.all_by_hand:
        return ""
    return f" Whether {' and '.join(axes)} lost steps was not checked: no switch at zero could be passed."
