"""What every action of a run may use: where the run stands, and how it says what is to be done."""

from typing import Any

from controller.capture import requests
from controller.capture.belief import MADE, SWITCHES
from controller.capture.effects import Conclude, Doubt, Effect, End, Send, SendUrgent, Shut, Timer
from controller.capture.events import Event, Kind
from controller.capture.people import Care, Heed
from controller.capture.states import RunState
from controller.kit.kit import Kit
from controller.program.build import build_steps
from controller.program.index import Zone, zone_of
from controller.program.program import AskStep, ExposeStep, Exposure, MoveStep, Program, Step
from controller.program.turn import Turn
from controller.session.rows import AXES, NOTHING, DoubtReason, Intent, Remembered, ShotOutcome
from protocol.messages import Capability, Expose, Move, Outcome, Reference, Stop
from protocol.units import BootId, CommandId, Steps, is_after, next_id

OUTCOMES = {
    Outcome.EXPOSED_SYNC: ShotOutcome.CONFIRMED,
    Outcome.EXPOSED_BLIND: ShotOutcome.ASSUMED,
    Outcome.NO_SYNC: ShotOutcome.UNCONFIRMED,
    Outcome.CUT_SHORT: ShotOutcome.INTERRUPTED,
}


class Acting:
    """Where one run through a program stands. Actions append to `effects` and change nothing else in the world.

    A run goes through its steps once; what is to be made once more is gathered in `later`, and when the steps are used
    up it becomes the steps of another pass.
    """

    def __init__(
        self,
        program: Program,
        first_id: int,
        remembered: Remembered,
        care: Care | None,
        *,
        zero_is_here: bool,
        tethered: bool,
    ) -> None:
        self.people = Heed(care, announced=care is None)
        self.left_out: set[Exposure] = set()  # by hand, and the operator said no
        self.is_armed = False
        self.same_boot = False  # the board that has just answered has not restarted since zero was found
        self.zero_is_here = zero_is_here
        self.tethered = tethered
        self.opened: Event | None = None  # how the exposure under way ended for the board, while its file is awaited
        self.state = RunState.IDLE
        self.program = program
        self.turn = _turn(program.kit, remembered)  # where the camera makes the bracket by itself
        self.steps: tuple[Step, ...] = program.steps
        if self.turn is not None and remembered is not NOTHING:
            self.steps = build_steps(program.kit, program.frames, exposures_of(program.steps), turn=self.turn)
        self.cursor = 0  # of the step that is being carried out or comes next
        self.left = exposures_of(self.steps)  # of this pass
        self.later: set[Exposure] = set()  # for another pass
        self.came_back: set[Exposure] = set()  # were put off once already
        self.given_up: set[Exposure] = set()
        self.by_hand = {frame.id for frame in program.frames if frame.by_hand}
        self._zones = _zones(program.kit)
        # What the head was turned for since its zero was last seen in its place, for each axis that can be checked.
        self.unchecked: dict[str, list[Exposure]] = {
            axis: [made for made in remembered.unchecked.get(axis, ()) if made[0] not in self.by_hand]
            for axis in self._zones
        }
        self.edges: dict[str, int] | None = None  # changes of each switch noted when the board was last asked
        self.newly: set[str] = set()  # axes whose switch has changed since they last stood clear of it
        self.off: list[str] = []  # axes whose switch was not where it should be
        self.times_off = 0
        self.home_left = 0  # moves that bring an axis without a switch back to zero before zero is found again
        self.next_id = CommandId(first_id)
        self._begin(remembered)

    def _begin(self, remembered: Remembered) -> None:
        """What changes while a run goes on, as an earlier run has left it."""
        self.tries = 0
        self.silent_in_row = 0  # exposures that were put off, one after the other
        self.ready_at_ns = 0  # when the camera can take the next exposure
        self.still_at_ns = 0  # when the head has settled
        self.last_move: MoveStep | None = None  # the move that ended last, since zero was found
        self.standing: tuple[int, int] | None = None  # where the head stands, in steps, if that is known
        self.windy_since_ns: int | None = None
        in_doubt = remembered.in_doubt or (0, 0, 0)
        self.exposing_id = in_doubt[0]  # the exposure whose outcome is not known yet
        self.exposing = in_doubt[1:]
        self.why = ""
        self.lie = ""  # what the board said that cannot be true
        self.refusals = 0  # since the last exposure that was made
        self.in_vain = 0  # greetings since the board was last heard to be at rest
        # What was made under zeros that no switch can check.
        blind = [axis for axis in AXES if axis not in self._zones]
        self.uncheckable = [made for axis in blind for made in remembered.unchecked.get(axis, ())]
        self.boot_id = None if remembered.boot_id is None else BootId(remembered.boot_id)
        self.was_armed = False  # in this run
        self.capabilities = Capability(0)
        self.position_known = self.zero_was_set = remembered.boot_id is not None  # unless the board says otherwise
        self.pause_wanted: Kind | None = None  # PAUSE or PAUSE_AFTER_ROW while that is wanted
        self.row_done: int | None = None  # of the latest exposure
        self.suspended_since_ns: int | None = None
        self.next_pause_ns = 0
        self.brought_to_rest = False  # since it was last suspended
        self.supply_low_since_ns: int | None = None  # when the board was first found at rest with a low supply
        self.interruptions = 0  # since the last exposure that was made
        self.late_commands = 0  # commands that took too long since the last exposure that was made
        self.from_anywhere = False  # the next move begins where the program did not foresee
        self.effects: list[Effect] = []

    @property
    def frame(self) -> int | None:
        """The frame that is being worked on."""
        if self.state is RunState.IDLE or not self.steps:
            return None
        return self.steps[min(self.cursor, len(self.steps) - 1)].frame

    def begin_pass(self, wanted: set[Exposure]) -> None:
        """Take up these exposures from wherever the head stands.

        If there are none, those that were put off; if there are none either, look at zero once more where that is due.
        What is taken by hand waits until nothing else is left.
        """
        if not self._turns_for(wanted):
            more = self._turns_for(self.later) if wanted else set(self.later)
            self.later -= more
            self.came_back |= more
            wanted = wanted | more
        self.steps = build_steps(
            self.program.kit,
            self.program.frames,
            wanted,
            from_anywhere=True,
            standing=self.standing,
            turn=self.turn,
            look=self.look_is_owed(),
        )
        self.left = exposures_of(self.steps)
        self.cursor, self.tries, self.from_anywhere = 0, 0, True

    def take_up_more(self) -> None:
        """Begin another pass where this one has nothing left that the head turns for, and something else has.

        A frame by hand that was begun is finished first.
        """
        at = self.steps[self.cursor] if self.cursor < len(self.steps) else None
        if isinstance(at, ExposeStep) or self._turns_for(self.left):
            return
        if (self._turns_for(self.later) if self.left else self.later) or (at is None and self.look_is_owed()):
            self.begin_pass(self.left)

    def _turns_for(self, exposures: set[Exposure]) -> set[Exposure]:
        """Those of them for which the head turns: all that are not taken by hand."""
        return {exposure for exposure in exposures if exposure[0] not in self.by_hand}

    @property
    def zones(self) -> dict[str, Zone]:
        """The axes whose zero can be checked, by the kit and by the board, and how."""
        return {axis: zone for axis, zone in self._zones.items() if SWITCHES[axis] & self.capabilities}

    def look_is_owed(self) -> bool:
        """Something was made since zero was last seen in its place, on an axis that can be checked."""
        return any(self.unchecked[axis] for axis in self.zones)

    def lose_place(self) -> None:
        """Where the head points is not known any more, so what was not checked by now never will be: it is suspect."""
        self.position_known, self.standing, self.home_left = False, None, 0
        suspect = {made for axis in self.zones for made in self.unchecked[axis]}
        for made in self.unchecked.values():
            made.clear()
        self.once_more(suspect, DoubtReason.SUSPECT)

    def forget_edges(self) -> None:
        """What the switches did since the board was last asked is not known: ask again before anything moves."""
        self.last_move = self.edges = None
        self.newly = set()

    def once_more(self, exposures: set[Exposure], why: DoubtReason) -> None:
        """Let these not count as made, and make them in another pass unless they are still to come."""
        exposures = exposures - self.left - self.later
        if exposures:
            self.later |= exposures
            self.effects.append(Doubt(tuple(sorted(exposures)), why))

    def count_made(self, exposure: Exposure) -> None:
        """An exposure is made, wherever the news came from."""
        self.left.discard(exposure)
        self.turn = None if self.turn is None else self.turn.after(1, exposure[0])
        self.interruptions = self.refusals = 0
        if exposure[0] not in self.by_hand:
            for made in self.unchecked.values():
                made.append(exposure)
            if len(self.unchecked) < len(AXES):
                self.uncheckable.append(exposure)

    def next_step(self) -> None:
        """The step under way is over; what was put off follows when nothing else is left."""
        self.cursor, self.tries = self.cursor + 1, 0
        self.take_up_more()

    def skip_rest_of(self, frame: int) -> set[Exposure]:
        """Put the cursor on the last step of a frame; return the exposures of it that are left."""
        self.cursor = max(n for n, each in enumerate(self.steps) if isinstance(each, ExposeStep) and each.frame == frame)
        return {exposure for exposure in self.left if exposure[0] == frame}

    # What more than one part of a run asks or does.

    def nothing_left(self, _: Any) -> bool:
        """Every exposure is made, or given up, and zero was looked at once more."""
        return not self.left and not self.later and self.cursor >= len(self.steps)

    def look_is_due(self, _: Any) -> bool:
        """Where the switches were seen so far is not known, or the move that has ended may have passed one."""
        if not self.zones:
            return False
        return self.edges is None or (self.last_move is not None and self.last_move.looks)

    def must_arm(self, _: Any) -> bool:
        """The board is not armed, so nothing but pausing or ending is possible."""
        return not self.is_armed

    def must_reference(self, _: Any) -> bool:
        """Where the head points is not known."""
        return not self.position_known and not self.home_left

    def move_is_due(self, _: Any) -> bool:
        """The step that comes next is a move."""
        return isinstance(self.steps[self.cursor], MoveStep)

    def motion_is_next(self) -> bool:
        """A command that can start motion comes next."""
        return self.must_arm(None) or self.must_reference(None) or self.move_is_due(None)

    def shut(self) -> None:
        """Hands may come to the head: nothing moves until people are told again."""
        if self.people.care is not None and self.people.announced:
            self.people.announced = False
            self.effects.append(Shut())

    def arm(self, _: Any) -> None:
        """Tell the board about both axes and allow it to move them."""
        assert self.boot_id is not None
        self.effects.append(Timer(None, overdue=False))
        self.effects += [Send(request) for request in requests.arming(self.program, self.boot_id, self._take_id)]

    def reference(self, data: Any) -> None:
        """Let the board find zero."""
        program = self.program
        request = requests.reference(program, self._take_id())
        self._command(data, request, program.reference_expected_ns, program.reference_deadline_ns)

    def move(self, data: Any) -> None:
        """Turn to the next frame."""
        step = self.step(MoveStep)
        request = Move(self._take_id(), Steps(step.pan_steps), Steps(step.tilt_steps))
        longer_ns = self.program.longest_move_ns if self.from_anywhere else 0
        self.from_anywhere = False
        self._command(data, request, step.expected_ns, step.deadline_ns + longer_ns)

    @property
    def awaits_file(self) -> bool:
        """The shutter has opened, and the photograph has not arrived."""
        return self.opened is not None

    def conclude(self, data: Any) -> None:
        """Write how the exposure under way ended, if there is one; with a tether its file decides whether it is made."""
        event: Event = data.kwargs["event"]
        if self.exposing_id and event.command_id == self.exposing_id and event.outcome in OUTCOMES:
            if self.tethered and event.outcome in MADE:
                self.opened = event
                return
            outcome = OUTCOMES[event.outcome]
            at_steps = None if event.kind is Kind.AT_REST and not event.known else event.at_steps
            self.effects.append(Conclude(self.exposing_id, outcome, event.board_clock_ms, at_steps))
            if event.outcome is Outcome.CUT_SHORT:
                self.lose_turn()
            self.forget_exposing()

    def conclude_filed(self, _: Any) -> None:
        """Write that the exposure under way is made: its file has arrived."""
        self._conclude_opened(ShotOutcome.CONFIRMED)

    def _conclude_opened(self, outcome: ShotOutcome) -> None:
        opened = self.opened
        assert opened is not None
        at_steps = None if opened.kind is Kind.AT_REST and not opened.known else opened.at_steps
        self.effects.append(Conclude(self.exposing_id, outcome, opened.board_clock_ms, at_steps))
        self.forget_exposing()

    def forget_exposing(self) -> None:
        """No exposure is under way any more."""
        self.exposing_id, self.opened = 0, None

    def lose_turn(self) -> None:
        """The camera may have opened its shutter, or not."""
        self.turn = None if self.turn is None else self.turn.lost(self.exposing[0])

    def _take_id(self) -> CommandId:
        command_id, self.next_id = self.next_id, next_id(self.next_id)
        return command_id

    def go_on_after(self, command_id: CommandId) -> None:
        """A board remembers the last id it took, also from a session before this one: the next one comes after it."""
        if not is_after(self.next_id, command_id):
            self.next_id = next_id(command_id)

    def _command(self, data: Any, request: Reference | Move | Expose, expected_ns: int, deadline_ns: int) -> None:
        event: Event = data.kwargs["event"]
        self.effects += [Send(request, expected_ns), Timer(event.at_ns + deadline_ns, overdue=True)]

    def _intent(self, step: ExposeStep, command_id: int) -> Intent:
        at = self.cursor
        while isinstance(aim := self.steps[at], ExposeStep):
            at -= 1
        pan_steps = tilt_steps = pan_deg = tilt_deg = None
        if not isinstance(aim, AskStep):
            pan_steps, tilt_steps = aim.pan_steps, aim.tilt_steps
            pan_deg = aim.pan_steps / self.program.pan.steps_per_degree
            tilt_deg = aim.tilt_steps / self.program.tilt.steps_per_degree
        return Intent(
            frame=step.frame,
            exposure=step.exposure,
            attempt=self.tries,
            command_id=command_id,
            pan_deg=pan_deg,
            tilt_deg=tilt_deg,
            shutter_s=step.shutter_s,
            commanded_pan_steps=pan_steps,
            commanded_tilt_steps=tilt_steps,
        )

    def step(self, kind: type[MoveStep] | type[ExposeStep] | type[AskStep]) -> Any:
        """The step at the cursor, which is of that kind."""
        step = self.steps[self.cursor]
        assert isinstance(step, kind)
        return step

    def _stop(self, data: Any) -> None:
        event: Event = data.kwargs["event"]
        self.is_armed = False
        self.effects += [SendUrgent(Stop()), Timer(event.at_ns + self.program.stop_deadline_ns, overdue=True)]

    def _fail(self, sentence: str) -> None:
        self.effects.append(End(False, self.lie or sentence, early=True))


def _zones(kit: Kit) -> dict[str, Zone]:
    """How the zero of each axis is checked, as far as the kit tells; without those where it cannot be."""
    zones = {"pan": zone_of(kit.head, kit.head.pan), "tilt": zone_of(kit.head, kit.head.tilt)}
    return {axis: zone for axis, zone in zones.items() if zone is not None}


def _turn(kit: Kit, remembered: Remembered) -> Turn | None:
    """Whose turn it is when a run begins, if the camera makes the bracket by itself."""
    if not kit.exposure.takes_turns:
        return None
    return Turn.resumed(len(kit.exposure.bracket_ev), remembered.exposures, remembered.latest)


def exposures_of(steps: tuple[Step, ...]) -> set[Exposure]:
    """What these steps make."""
    return {(step.frame, step.exposure) for step in steps if isinstance(step, ExposeStep)}
