"""One run through a program, as values; `machine.handle` advances it.

Conditions and actions are functions of a run and an event, in the modules beside this one. An action appends to
`effects` and changes the run. It does no I/O, reads no clock and sends no events.
"""

from dataclasses import dataclass, field

from controller.capture.belief import MADE
from controller.capture.effects import Conclude, Doubt, Effect, End, Send, SendUrgent, Shut, Timer
from controller.capture.events import Event, EventKind
from controller.capture.patience import Patience
from controller.capture.people import PeopleState, Precautions
from controller.capture.position import Position
from controller.capture.progress import Progress
from controller.capture.states import RunState
from controller.program.program import ExposeStep, Exposure, MoveStep, Program
from controller.session.rows import NOTHING, DoubtReason, Remembered, ShotOutcome
from protocol.messages import Capability, Expose, Move, Outcome, Reference, Stop
from protocol.units import BootId, CommandId, is_after, next_id

OUTCOMES = {
    Outcome.EXPOSED_SYNC: ShotOutcome.CONFIRMED,
    Outcome.EXPOSED_BLIND: ShotOutcome.ASSUMED,
    Outcome.NO_SYNC: ShotOutcome.UNCONFIRMED,
    Outcome.CUT_SHORT: ShotOutcome.INTERRUPTED,
}


@dataclass(slots=True)
class PendingExposure:
    """The exposure whose outcome is not known yet; `id` is its command, 0 if there is none."""

    id: int = 0
    exposure: Exposure = (0, 0)
    opened: Event | None = None
    """How the exposure itself ended, while its file is awaited."""

    def forget(self) -> None:
        """Note that no exposure is under way any more."""
        self.id, self.opened = 0, None


@dataclass(slots=True)
class BoardMet:
    """The board of this run, and the next command id that it accepts."""

    next_id: CommandId
    boot_id: BootId | None = None
    same_boot: bool = False
    """Whether it has not restarted since zero was found."""
    capabilities: Capability = field(default_factory=lambda: Capability(0))
    armed: bool = False
    was_armed: bool = False
    """Whether it was armed in this run."""

    @property
    def shapes(self) -> bool:
        """It shapes its ramps."""
        return bool(self.capabilities & Capability.SHAPER)

    def take_id(self) -> CommandId:
        """A command id that the board has not seen."""
        command_id, self.next_id = self.next_id, next_id(self.next_id)
        return command_id

    def go_on_after(self, command_id: CommandId) -> None:
        """Continue after the last id that the board accepted, perhaps from another session."""
        if not is_after(self.next_id, command_id):
            self.next_id = next_id(command_id)


class Run:
    """The state of one run through a program.

    `first_id` is the smallest command id that the session has not used; `remembered` is its record of an earlier run.
    `care` is what must be done for people before the head moves, None if nobody can be near it (a simulated head).
    `zero_is_here`: a head without switches at zero is at its mark when the run begins. `tethered`: the camera reports its
    files, and an exposure is made when its file has arrived.
    """

    def __init__(
        self,
        program: Program,
        first_id: int = 1,
        remembered: Remembered = NOTHING,
        care: Precautions | None = None,
        *,
        zero_is_here: bool = True,
        tethered: bool = False,
    ) -> None:
        self.program, self.zero_is_here, self.tethered = program, zero_is_here, tethered
        self.state = RunState.IDLE
        self.progress = Progress(program, remembered)
        self.position = Position(program.kit, remembered, self.progress.by_hand)
        self.patience = Patience()
        self.people = PeopleState(care, announced=care is None)
        self.board = BoardMet(CommandId(first_id), None if remembered.boot_id is None else BootId(remembered.boot_id))
        in_doubt = remembered.in_doubt or (0, 0, 0)
        self.shot = PendingExposure(in_doubt[0], in_doubt[1:])
        self.ready_at_ns = 0  # when the camera is ready for the next exposure
        self.still_at_ns = 0  # when the head has settled
        self.pause_wanted: EventKind | None = None  # PAUSE or PAUSE_AFTER_ROW while requested
        self.why = ""  # why the run is being stopped
        self.lie = ""  # the board's contradiction, as a sentence
        self.effects: list[Effect] = []

    # Questions that several modules ask.

    @property
    def frame(self) -> int | None:
        """The frame in progress."""
        return None if self.state is RunState.IDLE else self.progress.frame

    @property
    def awaits_file(self) -> bool:
        """Whether the shutter has opened and the photograph has not arrived."""
        return self.shot.opened is not None

    @property
    def zero_is_lost(self) -> bool:
        """Whether the position is unknown and only the operator can set zero again."""
        return self.position.is_lost(zero_is_here=self.zero_is_here)

    @property
    def motion_is_next(self) -> bool:
        """Whether a command that can start motion comes next."""
        return not self.board.armed or self.position.must_be_found or self.progress.comes(MoveStep)

    # Commands to the board.

    def command(self, event: Event, request: Reference | Move | Expose, expected_ns: int, deadline_ns: int) -> None:
        """Send a command that reports its end; it is overdue after `deadline_ns`."""
        self.effects += [Send(request, expected_ns), Timer(event.at_ns + deadline_ns, overdue=True)]

    def stop(self, event: Event) -> None:
        """Bring the head to rest, disarmed."""
        self.board.armed = False
        self.effects += [SendUrgent(Stop()), Timer(event.at_ns + self.program.stop_deadline_ns, overdue=True)]

    def shut(self) -> None:
        """Shut the gate, because hands may come to the head: nothing moves until people are warned again."""
        if self.people.care is not None and self.people.announced:
            self.people.announced = False
            self.effects.append(Shut())

    def fail(self, sentence: str) -> None:
        """End the run early."""
        self.effects.append(End(False, self.lie or sentence, early=True))

    # Progress and position together.

    def begin_round(self) -> None:
        """Build new steps for what is left, from the head's position."""
        position = self.position
        self.progress.begin_round(self.progress.left, position.standing, look=position.look_is_owed)

    def take_up_more(self) -> None:
        """Begin another round if this one is over and something is left."""
        if self.progress.round_is_over(look=self.position.look_is_owed):
            self.begin_round()

    def lose_place(self) -> None:
        """Note that the position is unknown: repeat the exposures that can never be checked any more."""
        self.expose_again(self.position.lose(), DoubtReason.SUSPECT)

    def expose_again(self, exposures: set[Exposure], why: DoubtReason) -> None:
        """Void these exposures; they are repeated in another round unless they are still to come."""
        again = self.progress.again(exposures)
        if again:
            self.effects.append(Doubt(tuple(sorted(again)), why))

    def count_made(self, exposure: Exposure) -> None:
        """Count an exposure as made, whatever event reported it."""
        self.progress.count(exposure)
        self.patience.count_exposure()
        self.position.count(exposure)

    # The exposure under way.

    def is_of_shot(self, event: Event) -> bool:
        """Whether an event concerns the exposure under way."""
        return bool(self.shot.id) and event.command_id == self.shot.id

    def conclude(self, event: Event) -> None:
        """Store how the exposure under way ended, if there is one; with a tether its file decides whether it is made."""
        if not self.is_of_shot(event) or event.outcome not in OUTCOMES:
            return
        if self.tethered and event.outcome in MADE:
            self.shot.opened = event
            return
        self._write(OUTCOMES[event.outcome], event)
        if event.outcome is Outcome.CUT_SHORT:
            self.progress.lose_turn(self.shot.exposure[0])
        self.shot.forget()

    def conclude_opened(self, outcome: ShotOutcome) -> Event:
        """Store the outcome of the exposure whose file is awaited. Returns the event that ended the exposure itself."""
        opened = self.shot.opened
        assert opened is not None
        self._write(outcome, opened)
        self.shot.forget()
        return opened

    def conclude_unconfirmed(self, *, turn_is_lost: bool) -> None:
        """Store that the exposure under way is not confirmed, without any valid report of the board."""
        self.effects.append(Conclude(self.shot.id, ShotOutcome.UNCONFIRMED, None))
        if turn_is_lost:
            self.progress.lose_turn(self.shot.exposure[0])
        self.shot.forget()

    def _write(self, outcome: ShotOutcome, event: Event) -> None:
        at_steps = None if event.kind is EventKind.AT_REST and not event.known else event.at_steps
        self.effects.append(Conclude(self.shot.id, outcome, event.board_clock_ms, at_steps))

    def finish(self, step: ExposeStep, closed_ns: int) -> None:
        """Note that the exposure at the cursor is made; its shutter was closed at `closed_ns`."""
        self.patience.late_commands = 0
        self.progress.finish(step)
        self.ready_at_ns = closed_ns + step.ready_ns
        self.count_made((step.frame, step.exposure))
        self.progress.advance()
        self.take_up_more()
