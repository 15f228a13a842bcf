"""Build a program from a kit and frames: absolute step targets, times and deadlines."""

import math
from collections.abc import Container, Sequence
from dataclasses import replace

from controller.errors import InputError
from controller.kit.kit import Axis, Head, Kit
from controller.kit.line import TRIES, retry_ns
from controller.program import timing
from controller.program.arrival import Approach, plain
from controller.program.course import Course, exchange_ns, in_turn, look_ns, move_ns, stops_to
from controller.program.kinematics import axes_for
from controller.program.program import (
    AskStep,
    AxisSetting,
    Crossing,
    ExposeStep,
    Exposure,
    MoveStep,
    PlannedFrame,
    Program,
    Settings,
    Step,
)
from controller.program.shapes import choose
from controller.program.turn import BracketPosition
from protocol.codec import PROTOCOL_VERSION
from protocol.messages import (
    Accepted,
    Arm,
    Capability,
    Expose,
    Finished,
    Hello,
    Message,
    Outcome,
    Reference,
    SetAxis,
    Stop,
    Welcome,
)
from protocol.shaper import PLAIN, set_shaper
from protocol.units import MS, NS, AxisId, BootId, CommandId, Steps

SEARCH_SHARE = 1 / 3  # of the highest speed, while searching for a switch
CREEP_DIVISOR = 10
ANY_EXPOSURE = Expose(CommandId(1), 0, 0, 0, 1, 1)
LAG_MARGIN_MS = 250  # how much slower than in the kit a camera's release may be before it counts as silent


def to_steps(angle_deg: float, axis: Axis) -> int:
    """The whole step nearest to an absolute angle. Never sum rounded steps: a turn would not close."""
    return round(angle_deg * axis.steps_per_degree)


def build_program(kit: Kit, frames: Sequence[PlannedFrame], made: Container[Exposure] = frozenset()) -> Program:
    """The program that shoots `frames` in their order, without the exposures (frame, number) already `made`.

    Raises InputError if a frame is outside the head's limits.
    """
    pan, tilt = settings = axis_settings(kit, frames)
    wanted = {(frame.id, number) for frame in frames for number in range(len(kit.exposure.bracket_ev))}
    steps = build_steps(kit, frames, {exposure for exposure in wanted if exposure not in made}, settings)
    search = [max(1, round(setting.speed_steps_s * SEARCH_SHARE)) for setting in (pan, tilt)]
    reference_ns = max(
        _reference_ns(setting, speed, axis.steps_per_degree)
        for setting, speed, axis in zip((pan, tilt), search, (kit.head.pan, kit.head.tilt), strict=True)
    )
    baud = kit.board.baud
    begin_ns, plain_begin_ns = (_handshake_ns(baud, told) + reference_ns for told in (settings, plain(settings)))
    return Program(
        kit=kit,
        frames=tuple(frames),
        pan=pan,
        tilt=tilt,
        silence_ms=kit.board.silence_ms,
        retry_ns=retry_ns(kit.board.baud),
        tries=TRIES,
        hello_tries=timing.hello_tries(kit.board.baud),
        pan_search_steps_s=search[0],
        tilt_search_steps_s=search[1],
        creep_divisor=CREEP_DIVISOR,
        reference_expected_ns=reference_ns,
        reference_deadline_ns=_reference_deadline_ns(kit, (pan, tilt), search),
        stop_deadline_ns=timing.deadline_ns(
            max(s.speed_steps_s * NS // s.accel_steps_s2 for s in (pan, tilt)),  # v / a
            kit.board.baud,
        ),
        stop_settle_ns=timing.stop_settle_ns(kit),
        longest_move_ns=_longest_move_ns(kit, (pan, tilt), steps),
        steps=steps,
        expected_ns=begin_ns + max(step_ends_ns(steps, baud), default=0),
        plain_expected_ns=plain_begin_ns + max(step_ends_ns(steps, baud, shaped=False), default=0),
    )


def build_steps(
    kit: Kit,
    frames: Sequence[PlannedFrame],
    wanted: Container[Exposure],
    settings: Settings,
    *,
    from_anywhere: bool = False,
    standing: tuple[int, int] | None = None,
    turn: BracketPosition | None = None,
    look: bool = False,
) -> tuple[Step, ...]:
    """The steps for the `wanted` exposures, in the order of `frames`, those by hand last; with `turn`, whole brackets if
    needed. `settings` are those that the board was told.

    They begin where a reference run ends. With `from_anywhere` they begin at any position, so that an axis with play
    first comes from its usual side; `standing` is that position in steps, if known. If anything moves, they end with a
    check of the switches at zero; with `look`, they do so in any case. Raises InputError if a frame is outside the head's
    limits.
    """
    course = Course(kit, settings, standing, from_anywhere=from_anywhere)
    by_hand: list[Step] = []
    latest = None  # the frame that the head was last turned to
    for frame in sorted(frames, key=lambda frame: frame.by_hand):
        exposures = [step for step in _exposures(kit, frame) if (step.frame, step.exposure) in wanted]
        if not frame.by_hand and (exposures or not course.steps):
            latest = (frame.id, frame.row)
        if not exposures:
            continue
        if turn is not None:
            whole = _exposures(kit, frame, in_turn=turn.coming is not None)
            numbers = turn.order(frame.id, {step.exposure for step in exposures})
            exposures, turn = [whole[number] for number in numbers], turn.after(len(numbers), frame.id)
        if frame.by_hand:
            by_hand += [AskStep(frame.id, frame.row, frame.yaw_deg, frame.pitch_deg), *exposures]
        else:
            _shoot(course, kit, settings, frame, exposures)
    if latest is not None and (course.steps or look):
        course.look(latest)
    return (*course.with_waits(), *by_hand)


def _shoot(course: Course, kit: Kit, settings: Settings, frame: PlannedFrame, exposures: list[ExposeStep]) -> None:
    """Turn to a frame and make its exposures. Raises InputError if it is outside the head's limits."""
    target = _target(kit.head, frame)
    _must_reach(frame, target, *settings)
    course.shoot((frame.id, frame.row), target, exposures, frame.pitch_deg)


def home_steps(
    program: Program, frame: PlannedFrame, standing: tuple[int, int], home: tuple[bool, bool]
) -> tuple[MoveStep, ...]:
    """The moves that bring the axes marked in `home` (pan, tilt) back to zero; named after `frame`.

    They say nothing about the switches on the way, because the head's other axis has lost its position.
    """
    course = Course(program.kit, program.axes, standing, from_anywhere=True)
    pan, tilt = (0 if at_home else steps for at_home, steps in zip(home, standing, strict=True))
    course.shoot((frame.id, frame.row), (pan, tilt), [])
    moves = (step for step in course.steps if isinstance(step, MoveStep))
    return tuple(replace(move, settle_ns=0, plain_settle_ns=0, pan=Crossing(), tilt=Crossing()) for move in moves)


def _target(head: Head, frame: PlannedFrame) -> tuple[int, int]:
    """The target of both axes, corrected for a lean of the head."""
    pan_deg, tilt_deg = axes_for(head, frame.yaw_deg, frame.pitch_deg)
    return to_steps(pan_deg, head.pan), to_steps(tilt_deg, head.tilt)


def axis_settings(kit: Kit, frames: Sequence[PlannedFrame]) -> Settings:
    """Pan and tilt as the board is told, with the ramps and shapers that suit the ways between these frames.

    Raises InputError if a frame is outside the head's limits.
    """
    settings, axes = plain_settings(kit), (kit.head.pan, kit.head.tilt)
    approaches: list[Approach] = []
    here = (0, 0)
    for frame in frames:
        if frame.by_hand:
            continue
        target = _target(kit.head, frame)
        _must_reach(frame, target, *settings)
        exposures = approaches[0].exposures if approaches else tuple(in_turn(_exposures(kit, frame)))  # the same for all
        stops = stops_to(target, here, axes, settings, frame.id)
        approaches.append(Approach((here, *stops), frame.pitch_deg, exposures))
        here = target
    return choose(kit, settings, approaches)


def plain_settings(kit: Kit) -> Settings:
    """Pan and tilt as the kit states them, with plain ramps."""
    return _setting(kit, kit.head.pan), _setting(kit, kit.head.tilt)


def _setting(kit: Kit, axis: Axis) -> AxisSetting:
    return AxisSetting(
        min_steps=math.floor(axis.min_deg * axis.steps_per_degree),
        max_steps=math.ceil(axis.max_deg * axis.steps_per_degree),
        speed_steps_s=timing.axis_speed(axis, kit.board.max_step_rate_hz),
        accel_steps_s2=timing.axis_accel(axis),
        steps_per_degree=axis.steps_per_degree,
    )


def _must_reach(frame: PlannedFrame, target: tuple[int, int], pan: AxisSetting, tilt: AxisSetting) -> None:
    for name, steps, setting in (("pan", target[0], pan), ("tilt", target[1], tilt)):
        if not setting.min_steps <= steps <= setting.max_steps:
            raise InputError(
                f"Frame {frame.id} (yaw {frame.yaw_deg:.2f}, pitch {frame.pitch_deg:.2f} degrees) is outside "
                f"the limits of head.{name}. Widen its min_deg and max_deg if the head really reaches it."
            )


def _longest_move_ns(kit: Kit, settings: Settings, steps: Sequence[Step]) -> int:
    stops = [(0, 0), *((step.pan_steps, step.tilt_steps) for step in steps if isinstance(step, MoveStep))]
    pans, tilts = zip(*stops, strict=True)
    return move_ns(kit, settings, (min(pans), min(tilts)), (max(pans), max(tilts)))


def _exposures(kit: Kit, frame: PlannedFrame, *, in_turn: bool = True) -> list[ExposeStep]:
    """The exposures of one frame, in bracket order.

    If the position in the camera's own bracket is unknown (not `in_turn`), any of them may be the longest.
    """
    camera = kit.exposure
    steps = []
    for number, shutter_s in enumerate(camera.times_s):
        perhaps_s = shutter_s if in_turn else max(camera.times_s)
        press_ms = max(1, round(shutter_s * 1000)) if camera.bulb else camera.press_ms
        open_ms = camera.release_lag_ms + shutter_s * 1000
        # Without a sync contact the board waits for the whole limit, so it must cover the longest possible exposure.
        longest_ms = camera.release_lag_ms + camera.longest_s(perhaps_s) * 1000 + LAG_MARGIN_MS
        limit_ms = math.ceil(max(1.0, longest_ms - press_ms))
        wait_ms = max(float(press_ms), open_ms) if kit.board.sync_contact else press_ms + limit_ms
        expected = round((camera.focus_ms + wait_ms) * MS) + exchange_ns(ANY_EXPOSURE, kit.board.baud)
        steps.append(
            ExposeStep(
                frame=frame.id,
                row=frame.row,
                exposure=number,
                shutter_s=shutter_s,
                focus_ms=camera.focus_ms,
                press_ms=press_ms,
                limit_ms=limit_ms,
                ready_ns=round(camera.ready_ms * MS + camera.dark_frame_s(perhaps_s) * NS),
                expected_ns=expected,
                deadline_ns=timing.deadline_ns((camera.focus_ms + press_ms + limit_ms) * MS, kit.board.baud),
            )
        )
    return steps


def step_ends_ns(steps: Sequence[Step], baud: int, *, shaped: bool = True) -> list[int]:
    """The end of each step, counted from the beginning of the first. The camera gets ready while the head already turns.
    `shaped`: the board shapes its ramps.

    Nothing waits for the camera after the last exposure: the head is disarmed during its dark frame.
    """
    ends, total, ready_at = [], 0, 0
    for step, following in zip(steps, [*steps, None][1:], strict=True):
        if isinstance(step, ExposeStep):
            total = max(total, ready_at) + step.expected_ns
            ready_at = total + step.ready_ns
        elif isinstance(step, MoveStep):
            total += step.turn_ns(shaped=shaped) + (look_ns(baud) if step.looks else 0)
            total += 0 if isinstance(following, MoveStep) else step.wait_ns(shaped=shaped)
        ends.append(total)
    return ends


def _handshake_ns(baud: int, settings: Settings) -> int:
    axis = SetAxis(CommandId(1), AxisId.PAN, Steps(-1), Steps(1), 1, 1)
    shapers = [set_shaper(CommandId(1), AxisId.PAN, setting.shaper) for setting in settings if setting.shaper != PLAIN]
    messages: list[Message] = [
        Hello(*PROTOCOL_VERSION, 1),
        Welcome(*PROTOCOL_VERSION, 1, BootId(1), CommandId(1), Capability(1), 1, 1),
        *(axis, Accepted()) * 2,
        *(message for shaper in shapers for message in (shaper, Accepted())),
        *(Arm(CommandId(1), BootId(1), 1), Accepted()),
        *(Stop(), Accepted()),
        *(Reference(CommandId(1), 1, 1, 1), Finished(CommandId(1), Outcome.REFERENCED, Steps(0), Steps(0), 1)),
    ]
    return sum(timing.wire_ns(message, baud) for message in messages)


def _reference_ns(setting: AxisSetting, search: int, steps_per_degree: float) -> int:
    """The usual time to find a switch about a degree away, averaged over both sides.

    From below: to it, past it while braking, back past it, braking, and slowly on to it. From above: without the first
    part.
    """
    accel = setting.accel_steps_s2
    creep = search / CREEP_DIVISOR

    def reached(way: float) -> float:
        return min(float(search), math.sqrt(2 * accel * way))

    def run(way: float) -> float:
        """Seconds from rest to the switch, `way` steps away, and to rest again."""
        speed = reached(way)
        return speed / accel + max(0.0, way - speed * speed / (2 * accel)) / speed + speed / accel

    over = reached(steps_per_degree) ** 2 / (2 * accel)  # how far past the switch it comes to rest
    slow = over / creep + creep / accel
    from_below = run(steps_per_degree) + run(over) + slow
    from_above = run(steps_per_degree) + slow
    return round((from_below + from_above) / 2 * NS)


def _reference_deadline_ns(kit: Kit, settings: Settings, search: list[int]) -> int:
    """The longest reference run: a search over the whole travel, there and back.

    A board gives up slightly beyond the travel (protocol/SPEC.md, Reference), and reports it before this deadline.
    """
    travels = [max(setting.max_steps, 0) - min(setting.min_steps, 0) for setting in settings]
    longest_s = max(2 * travel / speed for travel, speed in zip(travels, search, strict=True))
    turn_s = max(
        2 * 360 * axis.steps_per_degree / speed for axis, speed in zip((kit.head.pan, kit.head.tilt), search, strict=True)
    )
    return timing.deadline_ns(round(max(longest_s, turn_s) * NS), kit.board.baud)
