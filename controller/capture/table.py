"""The run as a table: which event leads from which state to which.

Every decision about the next state is in this file; `machine.py` only carries it out. For an event, a state's own rows
come first, then its group's, then those of the outer groups. Each list is tried from top to bottom, until a row has no
condition or its condition is true. Before that, the note for the event runs. Most work that ends leads to `NEXT`, the
choice of what comes next. An event with no row that is not in `IGNORED` is a bug: it raises and changes nothing.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

from controller.capture import announcing, endings, recovery, shooting, watching
from controller.capture.events import Event, EventKind
from controller.capture.run import Run
from controller.capture.states import FINAL, RUNNING, RunState, StateGroup, lineage

Condition: TypeAlias = Callable[[Run, Event], bool]
Action: TypeAlias = Callable[[Run, Event], None]
Source: TypeAlias = RunState | StateGroup
K, S, G = EventKind, RunState, StateGroup


@dataclass(frozen=True, slots=True)
class TransitionRow:
    """On `kind`, if `condition` is true (always, if None): do `action` and go to `target` (None: stay)."""

    kind: EventKind
    target: RunState | None
    action: Action | None = None
    condition: Condition | None = None


@dataclass(frozen=True, slots=True)
class Onward:
    """On `kind`: what comes next according to `NEXT`; if that is an exposure, go to `target` by `action`."""

    kind: EventKind
    target: RunState = S.RECOVERING
    action: Action = shooting.get_ready


NEXT: tuple[tuple[Condition, RunState, Action], ...] = (
    (shooting.nothing_left, S.CLOSING, shooting.close_down),
    (shooting.pause_is_due, S.PAUSED, shooting.rest),
    (shooting.zero_is_lost, S.STOPPING, endings.stop_zero_lost),
    (announcing.must_ask_first, S.ASKING, announcing.ask),
    (announcing.must_warn, S.WARNING, announcing.warn),
    (shooting.must_arm, S.ARMING, shooting.arm),
    (shooting.must_reference, S.REFERENCING, shooting.reference),
    (shooting.move_is_due, S.MOVING, shooting.move),
    (announcing.ask_is_due, S.ASKING, announcing.ask),
)
"""What comes next: the first row whose condition is true; if none is, an exposure."""


def _unanswered(kind: EventKind) -> tuple[TransitionRow, ...]:
    """Rows for an exposure that the camera did not confirm: a few more tries, then again at the end."""
    return (
        TransitionRow(kind, S.RECOVERING, shooting.try_again, shooting.may_try_again),
        TransitionRow(kind, S.STOPPING, shooting.stop_silent_camera, shooting.camera_is_gone),
        TransitionRow(kind, S.RECOVERING, shooting.put_off),
    )


NOTES: dict[tuple[RunState, EventKind], Action] = {
    (S.CONNECTING, K.WELCOMED): recovery.note_welcome,
    (S.RECONNECTING, K.WELCOMED): recovery.note_welcome,
    (S.QUIETING, K.AT_REST): recovery.note_rest,
    (S.WARNING, K.WAITED): announcing.note_warned,
    (S.ASKING, K.ANSWERED): announcing.note_answered,
    (S.ASKING, K.DECLINED): announcing.note_declined,
    (S.ARMING, K.ARMED): shooting.note_armed,
    (S.EXPOSING, K.EXPOSED): shooting.note_exposed,
    (S.TRANSFERRING, K.FILED): shooting.note_filed,
    (S.TRANSFERRING, K.OVERDUE): shooting.note_no_file,
    (S.REFERENCING, K.REFERENCED): shooting.note_zero,
    (S.MOVING, K.ARRIVED): shooting.note_arrived,
    (S.CHECKING, K.CHECKED): watching.note_index,
    (S.PAUSED, K.GO_ON): shooting.note_go_on,
}
"""The note for each event. It runs first, so that conditions only concern what comes next."""

ROWS: dict[Source, tuple[TransitionRow | Onward, ...]] = {
    S.IDLE: (TransitionRow(K.START, S.CONNECTING, shooting.greet),),
    S.CONNECTING: (
        TransitionRow(K.WELCOMED, S.QUIETING, recovery.bring_to_rest, shooting.may_still_know),
        Onward(K.WELCOMED),
        TransitionRow(K.STOP, S.FAILED, endings.fail_stopped),
        TransitionRow(K.HALT, S.FAILED, endings.halt_unanswered),
        TransitionRow(K.REFUSED, S.FAILED, endings.fail_refused),
        TransitionRow(K.CONTRADICTED, S.FAILED, endings.fail_contradicted),
        TransitionRow(K.LINK_LOST, S.FAILED, endings.fail_link_lost),
        TransitionRow(K.PAUSE, None, shooting.want_pause),
        TransitionRow(K.PAUSE_AFTER_ROW, None, shooting.want_pause),
        TransitionRow(K.GO_ON, None, shooting.note_go_on),
        TransitionRow(K.RETAKE, None, shooting.want_again),
    ),
    # Everything between the greeting and the end.
    G.UNDERWAY: (
        TransitionRow(K.PAUSE, None, shooting.want_pause),
        TransitionRow(K.PAUSE_AFTER_ROW, None, shooting.want_pause),
        TransitionRow(K.GO_ON, None, shooting.note_go_on),
        TransitionRow(K.RETAKE, None, shooting.want_again),
        TransitionRow(K.STOP, S.STOPPING, endings.stop_as_asked),
        TransitionRow(K.HALT, S.STOPPING, endings.halt_as_asked),
        TransitionRow(K.LINK_LOST, S.SUSPENDED, recovery.suspend),
        TransitionRow(K.RESTARTED, S.SUSPENDED, recovery.suspend),
        TransitionRow(K.HELD, S.SUSPENDED, recovery.suspend, recovery.may_pass),
        TransitionRow(K.HELD, S.FAILED, endings.fail_held),
        TransitionRow(K.CONTRADICTED, S.STOPPING, endings.stop_contradicted),
    ),
    G.PEOPLE: (TransitionRow(K.PAUSE, S.PAUSED, shooting.rest),),  # before the head moves, a pause keeps it still at once
    S.WARNING: (Onward(K.WAITED),),
    S.ASKING: (
        TransitionRow(K.ANSWERED, S.RECOVERING, shooting.shoot_by_hand, announcing.holds_camera),
        Onward(K.ANSWERED),
        TransitionRow(K.DECLINED, S.PAUSED, shooting.rest, announcing.declined_motion),
        Onward(K.DECLINED),
    ),
    S.ARMING: (
        TransitionRow(K.ARMED, S.STOPPING, endings.stop_no_progress, recovery.makes_no_progress),
        TransitionRow(K.ARMED, S.CHECKING, watching.look, watching.switch_record_missing),
        Onward(K.ARMED),
        TransitionRow(K.REFUSED, S.STOPPING, endings.stop_refused, recovery.is_refused_again),
        TransitionRow(K.REFUSED, S.SUSPENDED, recovery.suspend, recovery.lost_its_place),
        TransitionRow(K.REFUSED, S.SUSPENDED, recovery.wait_for_supply, recovery.supply_is_low),
        TransitionRow(K.REFUSED, S.SUSPENDED, recovery.suspend, recovery.still_stopping),
        TransitionRow(K.REFUSED, S.FAILED, endings.fail_refused),
    ),
    G.COMMANDED: (
        TransitionRow(K.OVERDUE, S.SUSPENDED, recovery.doubt, recovery.first_overdue),
        TransitionRow(K.OVERDUE, S.STOPPING, endings.stop_overdue),
        TransitionRow(K.CUT_SHORT, S.SUSPENDED, recovery.suspend),
        TransitionRow(K.REFUSED, S.STOPPING, endings.stop_refused, recovery.is_refused_again),
        TransitionRow(K.REFUSED, S.SUSPENDED, recovery.suspend, recovery.lost_its_place),
        TransitionRow(K.REFUSED, S.STOPPING, endings.stop_refused),
    ),
    S.REFERENCING: (
        TransitionRow(K.REFERENCED, S.CHECKING, watching.look, watching.look_is_due),
        Onward(K.REFERENCED),
    ),
    S.MOVING: (
        TransitionRow(K.ARRIVED, S.CHECKING, watching.look, watching.look_is_due),
        Onward(K.ARRIVED, S.SETTLING),
    ),
    S.EXPOSING: (
        TransitionRow(K.EXPOSED, S.TRANSFERRING, shooting.await_file, shooting.file_is_due),
        Onward(K.EXPOSED),
        *_unanswered(K.NOT_CONFIRMED),
    ),
    S.TRANSFERRING: (Onward(K.FILED), *_unanswered(K.OVERDUE)),
    G.WAITING: (
        TransitionRow(K.WAITED, S.LISTENING, watching.listen, shooting.exposes_in_wind),
        Onward(K.WAITED, S.EXPOSING, shooting.expose),
    ),
    G.WATCHING: (TransitionRow(K.REFUSED, S.STOPPING, endings.stop_refused),),
    S.CHECKING: (
        TransitionRow(K.CHECKED, S.STOPPING, watching.stop_zero_unreliable, watching.index_is_off_again),
        TransitionRow(K.CHECKED, S.MOVING, watching.bring_home, watching.must_bring_home),
        TransitionRow(K.CHECKED, S.REFERENCING, watching.recheck_zero, watching.index_is_off),
        Onward(K.CHECKED, S.SETTLING),
    ),
    S.LISTENING: (
        TransitionRow(K.CALM, S.SETTLING, watching.settle_again, watching.was_windy),
        TransitionRow(K.CALM, S.EXPOSING, shooting.expose),
        TransitionRow(K.GUSTY, S.STOPPING, watching.stop_wind, watching.is_windy_too_long),
        TransitionRow(K.GUSTY, S.WINDY, watching.wait_for_calm),
    ),
    S.WINDY: (TransitionRow(K.WAITED, S.LISTENING, watching.listen),),
    S.PAUSED: (Onward(K.GO_ON),),
    # The line or the board is lost for a while: wait, greet again, continue.
    G.AWAY: (
        TransitionRow(K.PAUSE, None, shooting.want_pause),
        TransitionRow(K.PAUSE_AFTER_ROW, None, shooting.want_pause),
        TransitionRow(K.GO_ON, None, shooting.note_go_on),
        TransitionRow(K.RETAKE, None, shooting.want_again),
        TransitionRow(K.EXPOSED, None, recovery.learn),
        TransitionRow(K.NOT_CONFIRMED, None, recovery.learn),
        TransitionRow(K.CUT_SHORT, None, recovery.learn),
        TransitionRow(K.FILED, None, recovery.learn_filed),
        TransitionRow(K.STOP, S.FAILED, endings.fail_stopped_while_lost),
        TransitionRow(K.HALT, S.FAILED, endings.fail_stopped_while_lost),
        TransitionRow(K.CONTRADICTED, S.STOPPING, endings.stop_contradicted),
    ),
    S.SUSPENDED: (TransitionRow(K.WAITED, S.RECONNECTING, recovery.reconnect),),
    S.RECONNECTING: (
        TransitionRow(K.WELCOMED, S.QUIETING, recovery.bring_to_rest),
        TransitionRow(K.LINK_LOST, S.SUSPENDED, recovery.suspend_again, recovery.has_patience),
        TransitionRow(K.LINK_LOST, S.FAILED, endings.fail_link_lost),
        TransitionRow(K.REFUSED, S.FAILED, endings.fail_refused),
    ),
    S.QUIETING: (
        TransitionRow(K.AT_REST, S.FAILED, endings.fail_held, recovery.needs_a_look),
        Onward(K.AT_REST),
        TransitionRow(K.LINK_LOST, S.FAILED, endings.fail_never_rests, recovery.never_rests),
        TransitionRow(K.LINK_LOST, S.SUSPENDED, recovery.suspend_again, recovery.has_patience),
        TransitionRow(K.LINK_LOST, S.FAILED, endings.fail_link_lost),
        TransitionRow(K.RESTARTED, S.FAILED, endings.fail_never_rests, recovery.never_rests),
        TransitionRow(K.RESTARTED, S.SUSPENDED, recovery.suspend_again),
        TransitionRow(K.OVERDUE, S.FAILED, endings.fail_not_at_rest),
        TransitionRow(K.CONTRADICTED, S.STOPPING, endings.note_contradicted),  # it was told to stop already
    ),
    # The head is brought to rest for good.
    G.ENDING: (
        TransitionRow(K.RETAKE, None, shooting.want_again),
        TransitionRow(K.HALT, S.STOPPING, endings.halt_as_asked),
        TransitionRow(K.OVERDUE, S.FAILED, endings.fail_not_at_rest),
        TransitionRow(K.HELD, S.FAILED, endings.fail_held),
        TransitionRow(K.CONTRADICTED, S.STOPPING, endings.note_contradicted),  # it was told to stop already
    ),
    S.CLOSING: (
        *(
            TransitionRow(kind, S.FAILED, endings.fail_incomplete, shooting.something_is_missing)
            for kind in (K.AT_REST, K.LINK_LOST, K.RESTARTED)
        ),
        TransitionRow(K.AT_REST, S.DONE, shooting.complete),
        TransitionRow(K.LINK_LOST, S.DONE, shooting.complete_without_board),
        TransitionRow(K.RESTARTED, S.DONE, shooting.complete),  # a board that has just started is disarmed
    ),
    S.STOPPING: (
        TransitionRow(K.AT_REST, S.FAILED, endings.fail_at_rest),
        TransitionRow(K.RESTARTED, S.FAILED, endings.fail_at_rest),
        TransitionRow(K.LINK_LOST, S.FAILED, endings.fail_link_lost),
        TransitionRow(K.EXPOSED, None, endings.conclude),
        TransitionRow(K.NOT_CONFIRMED, None, endings.conclude),
        TransitionRow(K.CUT_SHORT, None, endings.conclude),
        TransitionRow(K.FILED, None, endings.conclude_filed),
    ),
}


@dataclass(frozen=True, slots=True)
class IgnoredEvents:
    """Events that a state or a group ignores, and why."""

    kinds: frozenset[EventKind]
    reason: str


OF_BOARD = frozenset(
    {K.WELCOMED, K.ARMED, K.REFERENCED, K.ARRIVED, K.EXPOSED, K.NOT_CONFIRMED, K.CUT_SHORT, K.AT_REST, K.CHECKED}
    | {K.CALM, K.GUSTY, K.REFUSED, K.HELD, K.RESTARTED, K.LINK_LOST, K.CONTRADICTED}
)
"""Events that a board, or the line to it, can cause at any time and in any order."""

ANYWHERE = IgnoredEvents(OF_BOARD, "A board may say anything at any time; what no row foresees is of no use.")
"""Applies to every state between the start and the end, after all rows."""
IGNORED: dict[Source, IgnoredEvents] = {
    S.ARMING: IgnoredEvents(frozenset({K.HELD}), "It comes from an earlier run: this one has not armed the board yet."),
    G.ENDING: IgnoredEvents(frozenset({K.PAUSE, K.PAUSE_AFTER_ROW, K.GO_ON, K.STOP}), "The run is ending already."),
}
"""Apply before the rows of an outer group."""


def rows_of(state: RunState) -> list[TransitionRow]:
    """All rows of a state, its groups' included, in the order they are tried; none follows an unconditional one."""
    if state in FINAL:
        return []
    rows: list[TransitionRow] = []
    for source in lineage(state):
        for row in ROWS.get(source, ()):
            rows += [row] if isinstance(row, TransitionRow) else _spread(row)
        if source in IGNORED:
            rows += [TransitionRow(kind, None) for kind in sorted(IGNORED[source].kinds)]
    if state in RUNNING:
        rows += [TransitionRow(kind, None) for kind in sorted(ANYWHERE.kinds)]
    settled: set[EventKind] = set()
    reached = []
    for row in rows:
        if row.kind not in settled:
            reached.append(row)
        if row.condition is None:
            settled.add(row.kind)
    return reached


def _spread(onward: Onward) -> list[TransitionRow]:
    rows = [TransitionRow(onward.kind, target, action, condition) for condition, target, action in NEXT]
    return [*rows, TransitionRow(onward.kind, onward.target, onward.action)]
