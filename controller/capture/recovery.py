"""What to do when the line or the board is gone for a while: wait, greet again, find out, go on.

The board stops and holds by itself when it hears nothing. A line that is back is greeted anew and told to stop, which
also tells where things stand: whether the head still knows its position (the same boot, no doubt since), and how the
exposure ended that was under way. Then it is armed again, finds zero again if it must, and goes back to the frame that
was interrupted; exposures of it that are known to be made are not made twice.
"""

from typing import Any

from controller.capture.acting import Acting
from controller.capture.belief import MADE
from controller.capture.effects import Conclude, Greet, Reopen, Timer
from controller.capture.events import Event, Kind
from controller.capture.states import RunState
from controller.session.rows import ShotOutcome
from protocol.messages import Cause, Reason
from protocol.statistics import Trouble
from protocol.units import NS, CommandId, is_after

FIRST_PAUSE_NS = NS // 2
LONGEST_PAUSE_NS = 10 * NS
# How long a run waits for its line. Common practice, no source: long enough to find and mend a pulled cable.
PATIENCE_NS = 30 * 60 * NS
# A line that is silent for longer was probably pulled or switched off by hand. Common practice, no source.
PULLED_NS = 10 * NS
# How long it waits where whole frames come and never the answer: waiting mends no firmware and no wrong port.
PATIENCE_WITH_NONSENSE_NS = 60 * NS
MOST_REFUSALS = 6  # without an exposure in between
MOST_GREETINGS = 6  # without hearing in between that the board is at rest
MOST_INTERRUPTIONS = 20  # without an exposure in between
# What the head must be looked at for before it may go on.
NEEDS_A_LOOK = {Cause.LIMIT, Cause.STALL, Cause.STOP_SWITCH, Cause.HOST_HALT, Cause.ZERO_NOT_FOUND}
LOST = {Reason.NOT_ARMED, Reason.WRONG_BOOT, Reason.NOT_CONFIGURED, Reason.UNKNOWN_POSITION}


class Recovery(Acting):
    """Conditions and actions between losing the board and going on."""

    # Conditions.

    def only_silence(self, data: Any) -> bool:
        """The board stopped because it had not heard us."""
        event: Event = data.kwargs["event"]
        return event.cause is Cause.HOST_SILENCE

    def needs_a_look(self, data: Any) -> bool:
        """The board stopped in this run for something that somebody has to see to."""
        event: Event = data.kwargs["event"]
        return self.was_armed and event.cause in NEEDS_A_LOOK

    def lost_its_place(self, data: Any) -> bool:
        """The board says that it is not, or no longer, as we left it: find out why before anything else."""
        event: Event = data.kwargs["event"]
        return event.reason in LOST

    def still_stopping(self, data: Any) -> bool:
        """The board may still be bringing the head to rest for somebody who fell silent: wait for that, once."""
        event: Event = data.kwargs["event"]
        return event.reason is Reason.BUSY and not self.brought_to_rest

    def supply_is_low(self, data: Any) -> bool:
        """It cannot be armed because its supply has not come back yet, and it is worth waiting longer."""
        event: Event = data.kwargs["event"]
        low_ns = self.supply_low_since_ns
        return event.reason is Reason.BUSY and low_ns is not None and event.at_ns - low_ns < PATIENCE_NS

    def first_overdue(self, _: Any) -> bool:
        """Since the last exposure: it may have been our own clock, or a host that slept; the board knows better."""
        return self.late_commands == 0

    def gets_nowhere(self, _: Any) -> bool:
        """It has been interrupted again and again, and no exposure was made in between."""
        return self.interruptions > MOST_INTERRUPTIONS

    def has_patience(self, data: Any) -> bool:
        """It is worth waiting a little longer."""
        event: Event = data.kwargs["event"]
        patience_ns = PATIENCE_WITH_NONSENSE_NS if event.trouble is Trouble.NO_ANSWER else PATIENCE_NS
        return self.suspended_since_ns is not None and event.at_ns - self.suspended_since_ns < patience_ns

    def is_refused_again(self, _: Any) -> bool:
        """It has refused too often, and no exposure was made in between."""
        return self.refusals + 1 >= MOST_REFUSALS

    def is_greeted_in_vain(self, _: Any) -> bool:
        """It answers greetings, and never comes to say that it is at rest."""
        return self.in_vain >= MOST_GREETINGS

    # Actions.

    def suspend(self, data: Any) -> None:
        """What is known of the exposure under way is written; wait."""
        event: Event = data.kwargs["event"]
        self.conclude(data)
        self.tries = 0
        self.is_armed = self.people.may_move = False
        self.people.person_seen = self.people.person_seen or event.port_gone or event.kind is Kind.RESTARTED
        self.shut()
        self.interruptions += 1
        self.refusals += event.kind is Kind.REFUSED
        self.brought_to_rest = False
        self.suspended_since_ns, self.next_pause_ns = event.at_ns, FIRST_PAUSE_NS
        self.effects.append(Timer(event.at_ns + self.next_pause_ns, overdue=False))

    def doubt(self, data: Any) -> None:
        """Something takes too long: look into it as if the line had been lost, once."""
        self.late_commands += 1
        self.suspend(data)

    def wait_for_supply(self, data: Any) -> None:
        """The supply is still low: look again after a while."""
        event: Event = data.kwargs["event"]
        self.suspend(data)
        self.people.person_seen = True
        self.effects.append(Timer(event.at_ns + LONGEST_PAUSE_NS // 2, overdue=False))

    def suspend_again(self, data: Any) -> None:
        """Still nothing: wait longer."""
        event: Event = data.kwargs["event"]
        self.next_pause_ns = min(2 * self.next_pause_ns, LONGEST_PAUSE_NS)
        self.effects.append(Timer(event.at_ns + self.next_pause_ns, overdue=False))

    def learn(self, data: Any) -> None:
        """News of the exposure that was under way, if it is of that one: it decides whether it is made again."""
        event: Event = data.kwargs["event"]
        if not self.exposing_id or event.command_id != self.exposing_id:
            return
        self.conclude(data)
        if event.outcome in MADE and not self.awaits_file:
            self._learn_made()

    def learn_filed(self, data: Any) -> None:
        """The photograph of the exposure that was under way has arrived: it is not made again."""
        self.conclude_filed(data)
        self._learn_made()

    def _learn_made(self) -> None:
        """It was made before the line was lost. If the position is lost by now, it can never be checked."""
        self.count_made(self.exposing)
        if not self.position_known:
            self.lose_place()

    def reconnect(self, _: Any) -> None:
        """Open the line anew and say hello."""
        self.effects += [Timer(None, overdue=False), Reopen(), Greet()]

    def note_welcome(self, data: Any) -> None:
        """The board says who it is: whether it has restarted decides what it may still know."""
        event: Event = data.kwargs["event"]
        self.same_boot = self.boot_id is not None and event.boot_id == self.boot_id
        never_taken = self.exposing_id and is_after(CommandId(self.exposing_id), event.command_id)
        if self.same_boot and never_taken:  # so nothing was exposed
            self.effects.append(Conclude(self.exposing_id, ShotOutcome.UNCONFIRMED, None))
            self.forget_exposing()
        self.boot_id = event.boot_id
        self.capabilities = event.capabilities or self.capabilities
        if not self.same_boot:
            self.lose_place()
        # A board remembers the last id it took, also from a session before this one.
        self.go_on_after(event.command_id)
        if self.state is RunState.RECONNECTING:
            self.people.person_seen = self.people.person_seen or not self.same_boot
        elif not self.same_boot:
            self.zero_was_set = False
            if self.exposing_id:  # of the run before, and this board knows nothing of it
                self.forget_exposing()
                self.lose_turn()
                self.begin_pass(self.left)
            elif self.later:
                self.begin_pass(self.left)

    def quieten(self, data: Any) -> None:
        """The board is there: bring it to rest, whatever it does, and hear where it stands."""
        self.in_vain += 1
        self._stop(data)

    def note_rest(self, data: Any) -> None:
        """It says where it stands, and how the exposure under way ended: that decides where to go on."""
        event: Event = data.kwargs["event"]
        gone_ns = 0 if self.suspended_since_ns is None else event.at_ns - self.suspended_since_ns
        if event.cause in {Cause.SUPPLY_LOW, Cause.STOP_SWITCH} or gone_ns > PULLED_NS:
            self.people.person_seen = True
        if self.position_known and event.known:
            self.standing = event.at_steps
        else:
            self.lose_place()
        self.forget_edges()
        if event.cause is not Cause.SUPPLY_LOW:
            self.supply_low_since_ns = None
        elif self.supply_low_since_ns is None:
            self.supply_low_since_ns = event.at_ns
        self.learn(data)
        if self.exposing_id:  # what is not known by now stays in doubt
            self.lose_turn()
        self.forget_exposing()
        self.suspended_since_ns, self.brought_to_rest, self.in_vain = None, True, 0
        self.begin_pass(self.left)
