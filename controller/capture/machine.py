"""Carries out the table of `states.py` with the transitions library: an event in, a list of effects out.

The library only decides which state comes next. Actions (in `shooting`, `recovery` and `endings`) append effects and
nothing else: no I/O, no clock, no further events.
"""

from typing import Any

from transitions import Machine

from controller.capture.announcing import Announcing
from controller.capture.effects import Effect
from controller.capture.endings import Endings
from controller.capture.events import Event, Kind
from controller.capture.people import Care
from controller.capture.recovery import Recovery
from controller.capture.shooting import Shooting
from controller.capture.states import NOTES, ROWS, STRAYS, Row, RunState
from controller.capture.watching import Watching
from controller.program.program import Program
from controller.session.rows import NOTHING, Remembered


class Run(Shooting, Announcing, Watching, Recovery, Endings):
    """One run through a program. `handle` is the only way in; `state` says where it stands.

    `first_id` is the smallest command id that the session has not used, `remembered` what it knows of an earlier run.
    `care` is what people are owed before the head moves, None where nobody can be near it (a simulated head).
    `zero_is_here`: a head without switches at zero stands at its mark when the run begins. `tethered`: the camera tells
    of its files, and an exposure is made when its file has arrived.
    """

    def __init__(
        self,
        program: Program,
        first_id: int = 1,
        remembered: Remembered = NOTHING,
        care: Care | None = None,
        *,
        zero_is_here: bool = True,
        tethered: bool = False,
    ) -> None:
        super().__init__(program, first_id, remembered, care, zero_is_here=zero_is_here, tethered=tethered)
        _check_names(self)
        self._machine = Machine(
            model=self,
            states=RunState,
            initial=RunState.IDLE,
            transitions=[_as_transition(row) for row in (*ROWS, *STRAYS)],
            auto_transitions=False,
            send_event=True,
        )

    def handle(self, event: Event) -> list[Effect]:
        """Take one event; return what is to be done, in order.

        What the event says of the work done is noted before the table is asked, so that its conditions speak of what
        comes next. Raises transitions.MachineError, changing nothing, for an event that the state does not know.
        """
        self.effects = []
        for note in NOTES.get((self.state, event.kind), ()):
            getattr(self, note)(EventData(event))
        self._machine.events[event.kind.value].trigger(self, event=event)
        return self.effects


def _as_transition(row: Row) -> dict[str, Any]:
    return {
        "trigger": row.kind.value,
        "source": list(row.sources),
        "dest": row.target,
        "conditions": row.condition,
        "after" if row.target is not None else "before": row.action,
    }


class EventData:
    """What the library hands to an action, for a note."""

    def __init__(self, event: Event) -> None:
        self.kwargs = {"event": event}


def _check_names(run: Run) -> None:
    """A misspelt name would otherwise be found out only when it fires, hours into a run."""
    wanted = {name for row in ROWS for name in (row.action, row.condition) if name}
    wanted |= {name for names in NOTES.values() for name in names}
    missing = sorted(name for name in wanted if not callable(getattr(run, name, None)))
    taken = sorted(kind.value for kind in Kind if hasattr(run, kind.value))
    if taken:  # the library gives the model a trigger of each event's name, and would replace it silently
        raise AttributeError(f"the machine has something that is named like an event: {', '.join(taken)}")
    if missing:
        raise AttributeError(f"the table names what the machine does not have: {', '.join(missing)}")
