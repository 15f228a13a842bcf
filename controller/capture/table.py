"""The run as a table: which event leads from which state to which.

Everything that decides about the next state is in this file; `machine.py` only carries it out. A state's own rows for an
event come first, then its group's, then those of the group around it; each from top to bottom, until one has no
condition or its condition holds. Before that, the note for the event is taken. Most work that ends leads to `NEXT`, the
choice of what comes next. An event without a row that is not in `IGNORED` is a bug: it raises and changes nothing.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

from controller.capture import announcing, endings, recovery, shooting, watching
from controller.capture.events import Event, Kind
from controller.capture.run import Run
from controller.capture.states import FINAL, RUNNING, Group, RunState, lineage

Condition: TypeAlias = Callable[[Run, Event], bool]
Action: TypeAlias = Callable[[Run, Event], None]
Source: TypeAlias = RunState | Group
K, S, G = Kind, RunState, Group


@dataclass(frozen=True, slots=True)
class Row:
    """On `kind`, if `condition` holds (always, if None): do `action` and go to `target` (None: stay)."""

    kind: Kind
    target: RunState | None
    action: Action | None = None
    condition: Condition | None = None


@dataclass(frozen=True, slots=True)
class Onward:
    """On `kind`: whatever comes next by `NEXT`; if that is an exposure, go to `target` by `action`."""

    kind: Kind
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
"""What comes next, the first that holds; if none does, an exposure."""


def _unanswered(kind: Kind) -> tuple[Row, ...]:
    """The camera did not confirm an exposure: a few more tries, then once more at the end."""
    return (
        Row(kind, S.RECOVERING, shooting.try_again, shooting.may_try_again),
        Row(kind, S.STOPPING, shooting.stop_silent_camera, shooting.camera_is_gone),
        Row(kind, S.RECOVERING, shooting.put_off),
    )


NOTES: dict[tuple[RunState, Kind], Action] = {
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
"""What an event says of the work done; conditions then speak only of what comes next."""

ROWS: dict[Source, tuple[Row | Onward, ...]] = {
    S.IDLE: (Row(K.START, S.CONNECTING, shooting.greet),),
    S.CONNECTING: (
        Row(K.WELCOMED, S.QUIETING, recovery.quieten, shooting.may_still_know),
        Onward(K.WELCOMED),
        Row(K.STOP, S.FAILED, endings.fail_stopped),
        Row(K.HALT, S.FAILED, endings.halt_unheard),
        Row(K.REFUSED, S.FAILED, endings.fail_refused),
        Row(K.CONTRADICTED, S.FAILED, endings.fail_contradicted),
        Row(K.LINK_LOST, S.FAILED, endings.fail_link_lost),
        Row(K.PAUSE, None, shooting.want_pause),
        Row(K.PAUSE_AFTER_ROW, None, shooting.want_pause),
        Row(K.GO_ON, None, shooting.note_go_on),
        Row(K.RETAKE, None, shooting.want_again),
    ),
    # Everything between the greeting and the end.
    G.UNDERWAY: (
        Row(K.PAUSE, None, shooting.want_pause),
        Row(K.PAUSE_AFTER_ROW, None, shooting.want_pause),
        Row(K.GO_ON, None, shooting.note_go_on),
        Row(K.RETAKE, None, shooting.want_again),
        Row(K.STOP, S.STOPPING, endings.stop_as_asked),
        Row(K.HALT, S.STOPPING, endings.halt_as_asked),
        Row(K.LINK_LOST, S.SUSPENDED, recovery.suspend),
        Row(K.RESTARTED, S.SUSPENDED, recovery.suspend),
        Row(K.HELD, S.SUSPENDED, recovery.suspend, recovery.only_silence),
        Row(K.HELD, S.FAILED, endings.fail_held),
        Row(K.CONTRADICTED, S.STOPPING, endings.stop_contradicted),
    ),
    G.PEOPLE: (Row(K.PAUSE, S.PAUSED, shooting.rest),),  # before the head moves, a pause keeps it still at once
    S.WARNING: (Onward(K.WAITED),),
    S.ASKING: (
        Row(K.ANSWERED, S.RECOVERING, shooting.shoot_by_hand, announcing.holds_camera),
        Onward(K.ANSWERED),
        Row(K.DECLINED, S.PAUSED, shooting.rest, announcing.declined_motion),
        Onward(K.DECLINED),
    ),
    S.ARMING: (
        Row(K.ARMED, S.STOPPING, endings.stop_stuck, recovery.gets_nowhere),
        Row(K.ARMED, S.CHECKING, watching.look, watching.goes_on_unseen),
        Onward(K.ARMED),
        Row(K.REFUSED, S.STOPPING, endings.stop_refused, recovery.is_refused_again),
        Row(K.REFUSED, S.SUSPENDED, recovery.suspend, recovery.lost_its_place),
        Row(K.REFUSED, S.SUSPENDED, recovery.wait_for_supply, recovery.supply_is_low),
        Row(K.REFUSED, S.SUSPENDED, recovery.suspend, recovery.still_stopping),
        Row(K.REFUSED, S.FAILED, endings.fail_refused),
    ),
    G.COMMANDED: (
        Row(K.OVERDUE, S.SUSPENDED, recovery.doubt, recovery.first_overdue),
        Row(K.OVERDUE, S.STOPPING, endings.stop_overdue),
        Row(K.CUT_SHORT, S.SUSPENDED, recovery.suspend),
        Row(K.REFUSED, S.STOPPING, endings.stop_refused, recovery.is_refused_again),
        Row(K.REFUSED, S.SUSPENDED, recovery.suspend, recovery.lost_its_place),
        Row(K.REFUSED, S.STOPPING, endings.stop_refused),
    ),
    S.REFERENCING: (
        Row(K.REFERENCED, S.CHECKING, watching.look, watching.look_is_due),
        Onward(K.REFERENCED),
    ),
    S.MOVING: (
        Row(K.ARRIVED, S.CHECKING, watching.look, watching.look_is_due),
        Onward(K.ARRIVED, S.SETTLING),
    ),
    S.EXPOSING: (
        Row(K.EXPOSED, S.TRANSFERRING, shooting.await_file, shooting.file_is_due),
        Onward(K.EXPOSED),
        *_unanswered(K.NOT_CONFIRMED),
    ),
    S.TRANSFERRING: (Onward(K.FILED), *_unanswered(K.OVERDUE)),
    G.WAITING: (
        Row(K.WAITED, S.LISTENING, watching.listen, shooting.exposes_in_wind),
        Onward(K.WAITED, S.EXPOSING, shooting.expose),
    ),
    G.WATCHING: (Row(K.REFUSED, S.STOPPING, endings.stop_refused),),
    S.CHECKING: (
        Row(K.CHECKED, S.STOPPING, watching.stop_distrust, watching.index_is_off_again),
        Row(K.CHECKED, S.MOVING, watching.bring_home, watching.must_bring_home),
        Row(K.CHECKED, S.REFERENCING, watching.distrust, watching.index_is_off),
        Onward(K.CHECKED, S.SETTLING),
    ),
    S.LISTENING: (
        Row(K.CALM, S.SETTLING, watching.settle_again, watching.it_has_blown),
        Row(K.CALM, S.EXPOSING, shooting.expose),
        Row(K.GUSTY, S.STOPPING, watching.stop_wind, watching.wind_lasts),
        Row(K.GUSTY, S.WINDY, watching.wait_for_calm),
    ),
    S.WINDY: (Row(K.WAITED, S.LISTENING, watching.listen),),
    S.PAUSED: (Onward(K.GO_ON),),
    # The line or the board is gone for a while: wait, greet again, go on.
    G.AWAY: (
        Row(K.PAUSE, None, shooting.want_pause),
        Row(K.PAUSE_AFTER_ROW, None, shooting.want_pause),
        Row(K.GO_ON, None, shooting.note_go_on),
        Row(K.RETAKE, None, shooting.want_again),
        Row(K.EXPOSED, None, recovery.learn),
        Row(K.NOT_CONFIRMED, None, recovery.learn),
        Row(K.CUT_SHORT, None, recovery.learn),
        Row(K.FILED, None, recovery.learn_filed),
        Row(K.STOP, S.FAILED, endings.fail_stopped_while_lost),
        Row(K.HALT, S.FAILED, endings.fail_stopped_while_lost),
        Row(K.CONTRADICTED, S.STOPPING, endings.stop_contradicted),
    ),
    S.SUSPENDED: (Row(K.WAITED, S.RECONNECTING, recovery.reconnect),),
    S.RECONNECTING: (
        Row(K.WELCOMED, S.QUIETING, recovery.quieten),
        Row(K.LINK_LOST, S.SUSPENDED, recovery.suspend_again, recovery.has_patience),
        Row(K.LINK_LOST, S.FAILED, endings.fail_link_lost),
        Row(K.REFUSED, S.FAILED, endings.fail_refused),
    ),
    S.QUIETING: (
        Row(K.AT_REST, S.FAILED, endings.fail_held, recovery.needs_a_look),
        Onward(K.AT_REST),
        Row(K.LINK_LOST, S.FAILED, endings.fail_in_vain, recovery.is_greeted_in_vain),
        Row(K.LINK_LOST, S.SUSPENDED, recovery.suspend_again, recovery.has_patience),
        Row(K.LINK_LOST, S.FAILED, endings.fail_link_lost),
        Row(K.RESTARTED, S.FAILED, endings.fail_in_vain, recovery.is_greeted_in_vain),
        Row(K.RESTARTED, S.SUSPENDED, recovery.suspend_again),
        Row(K.OVERDUE, S.FAILED, endings.fail_not_at_rest),
        Row(K.CONTRADICTED, S.STOPPING, endings.note_contradicted),  # it was told to stop already
    ),
    # The head is brought to rest for good.
    G.ENDING: (
        Row(K.RETAKE, None, shooting.want_again),
        Row(K.HALT, S.STOPPING, endings.halt_as_asked),
        Row(K.OVERDUE, S.FAILED, endings.fail_not_at_rest),
        Row(K.HELD, S.FAILED, endings.fail_held),
        Row(K.CONTRADICTED, S.STOPPING, endings.note_contradicted),  # it was told to stop already
    ),
    S.CLOSING: (
        *(
            Row(kind, S.FAILED, endings.fail_incomplete, shooting.something_is_missing)
            for kind in (K.AT_REST, K.LINK_LOST, K.RESTARTED)
        ),
        Row(K.AT_REST, S.DONE, shooting.complete),
        Row(K.LINK_LOST, S.DONE, shooting.complete_unheard),
        Row(K.RESTARTED, S.DONE, shooting.complete),  # a board that has just started is disarmed
    ),
    S.STOPPING: (
        Row(K.AT_REST, S.FAILED, endings.fail_at_rest),
        Row(K.RESTARTED, S.FAILED, endings.fail_at_rest),
        Row(K.LINK_LOST, S.FAILED, endings.fail_link_lost),
        Row(K.EXPOSED, None, endings.conclude),
        Row(K.NOT_CONFIRMED, None, endings.conclude),
        Row(K.CUT_SHORT, None, endings.conclude),
        Row(K.FILED, None, endings.conclude_filed),
    ),
}


@dataclass(frozen=True, slots=True)
class Ignored:
    """Events that a state or a group ignores, and why."""

    kinds: frozenset[Kind]
    reason: str


OF_BOARD = frozenset(
    {K.WELCOMED, K.ARMED, K.REFERENCED, K.ARRIVED, K.EXPOSED, K.NOT_CONFIRMED, K.CUT_SHORT, K.AT_REST, K.CHECKED}
    | {K.CALM, K.GUSTY, K.REFUSED, K.HELD, K.RESTARTED, K.LINK_LOST, K.CONTRADICTED}
)
"""What a board, or the line to it, can bring about, at any time and in any order."""

ANYWHERE = Ignored(OF_BOARD, "A board may say anything at any time; what no row foresees is of no use.")
"""Holds for every state between the start and the end, after all rows."""
IGNORED: dict[Source, Ignored] = {
    S.ARMING: Ignored(frozenset({K.HELD}), "It comes from an earlier run: this one has not armed the board yet."),
    G.ENDING: Ignored(frozenset({K.PAUSE, K.PAUSE_AFTER_ROW, K.GO_ON, K.STOP}), "The run is ending already."),
}
"""Holds before the rows of an outer group."""


def rows_of(state: RunState) -> list[Row]:
    """All rows of a state in the order in which they are tried, its groups' included; none follows one that must hold."""
    if state in FINAL:
        return []
    rows: list[Row] = []
    for source in lineage(state):
        for row in ROWS.get(source, ()):
            rows += [row] if isinstance(row, Row) else _spread(row)
        if source in IGNORED:
            rows += [Row(kind, None) for kind in sorted(IGNORED[source].kinds)]
    if state in RUNNING:
        rows += [Row(kind, None) for kind in sorted(ANYWHERE.kinds)]
    settled: set[Kind] = set()
    reached = []
    for row in rows:
        if row.kind not in settled:
            reached.append(row)
        if row.condition is None:
            settled.add(row.kind)
    return reached


def _spread(onward: Onward) -> list[Row]:
    rows = [Row(onward.kind, target, action, condition) for condition, target, action in NEXT]
    return [*rows, Row(onward.kind, onward.target, onward.action)]
