"""Applies the table in `table.py` with the transitions library: an event in, a list of effects out.

The library only decides which state comes next. Actions append effects and change the run, nothing else.
"""

from transitions import Machine

from controller.capture.effects import Effect
from controller.capture.events import Event
from controller.capture.run import Run
from controller.capture.states import RunState
from controller.capture.table import NOTES, rows_of


def _machine() -> Machine:
    transitions = [
        {
            "trigger": row.kind.value,
            "source": state,
            "dest": row.target,
            "conditions": row.condition,
            "before" if row.target is None else "after": row.action,
        }
        for state in RunState
        for row in rows_of(state)
    ]
    return Machine(model=None, states=RunState, initial=RunState.IDLE, transitions=transitions, auto_transitions=False)


_MACHINE = _machine()


def handle(run: Run, event: Event) -> list[Effect]:
    """Advance the run by one event; return the effects in order.

    The note for the event runs before the table is consulted, so that its conditions concern what comes next. Raises
    transitions.MachineError, changing nothing, for an event that is not valid in the state.
    """
    run.effects = []
    note = NOTES.get((run.state, event.kind))
    if note is not None:
        note(run, event)
    _MACHINE.events[event.kind.value].trigger(run, run, event)
    return run.effects
