"""The run as a table: which event leads from which state to which.

Rules. Everything that decides about the next state stands in this file; `machine.py` only carries it out. A
row's condition and action are names of methods of `machine.Run`, and every name is looked up when the machine is
built. Rows for the same event and state are tried from top to bottom; what `NOTES` names is noted before. An event that
has no row for the state it meets is a bug: it raises and changes nothing. The diagram in DEVELOPERS.md is made from
this table.
"""

from dataclasses import dataclass
from enum import Enum

from controller.capture.events import Kind


class RunState(Enum):
    """Where a run stands."""

    IDLE = "idle"
    CONNECTING = "connecting"
    WARNING = "warning"
    ARMING = "arming"
    REFERENCING = "referencing"
    MOVING = "moving"
    CHECKING = "checking"
    SETTLING = "settling"
    LISTENING = "listening"
    WINDY = "windy"
    EXPOSING = "exposing"
    TRANSFERRING = "transferring"
    RECOVERING = "recovering"
    PAUSED = "paused"
    ASKING = "asking"
    SUSPENDED = "suspended"
    RECONNECTING = "reconnecting"
    QUIETING = "quieting"
    CLOSING = "closing"
    STOPPING = "stopping"
    DONE = "done"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class Row:
    """On `kind` in one of `sources`, if `condition` holds: do `action` and go to `target` (None: stay)."""

    kind: Kind
    sources: tuple[RunState, ...]
    target: RunState | None
    action: str | None = None
    condition: str | None = None


S = RunState
FINAL = (S.DONE, S.FAILED)
COMMANDED = (S.REFERENCING, S.MOVING, S.EXPOSING)  # the board is carrying out a command
WAITING = (S.SETTLING, S.RECOVERING)  # the host lets time pass
FILES = (S.TRANSFERRING,)  # the photograph is on its way from the camera
WATCHING = (S.CHECKING, S.LISTENING, S.WINDY)  # zero and the wind are looked at
PEOPLE = (S.WARNING, S.ASKING)  # people are told, or asked, before the head moves
ARMED = (*COMMANDED, *WAITING, *FILES, *WATCHING, *PEOPLE, S.PAUSED)
UNPAUSED = (S.ARMING, *(state for state in ARMED if state is not S.PAUSED))
ENDING = (S.CLOSING, S.STOPPING)
UNDER_WAY = (S.ARMING, *ARMED)
AWAY = (S.SUSPENDED, S.RECONNECTING, S.QUIETING)  # the board is out of reach, or being found again
LIVE = (S.CONNECTING, *UNDER_WAY, *AWAY)
OF_BOARD = (
    *(Kind.WELCOMED, Kind.ARMED, Kind.REFERENCED, Kind.ARRIVED, Kind.EXPOSED, Kind.NOT_CONFIRMED, Kind.CUT_SHORT),
    *(Kind.AT_REST, Kind.CHECKED, Kind.CALM, Kind.GUSTY, Kind.REFUSED, Kind.HELD, Kind.RESTARTED, Kind.LINK_LOST),
    Kind.CONTRADICTED,
)
"""What a board, or the line to it, can bring about, at any time and in any order."""


def _onward(kind: Kind, source: RunState, target: RunState = S.RECOVERING, action: str = "get_ready") -> tuple[Row, ...]:
    """The rows that lead from `source` to whatever comes next: to `target` by `action` where an exposure does."""
    here = (source,)
    return (
        Row(kind, here, S.CLOSING, "close_down", condition="nothing_left"),
        Row(kind, here, S.PAUSED, "rest", condition="pause_is_due"),
        Row(kind, here, S.STOPPING, "stop_zero_lost", condition="zero_is_lost"),
        Row(kind, here, S.ASKING, "ask", condition="must_ask_first"),
        Row(kind, here, S.WARNING, "warn", condition="must_warn"),
        Row(kind, here, S.ARMING, "arm", condition="must_arm"),
        Row(kind, here, S.REFERENCING, "reference", condition="must_reference"),
        Row(kind, here, S.MOVING, "move", condition="move_is_due"),
        Row(kind, here, S.ASKING, "ask", condition="ask_is_due"),
        Row(kind, here, target, action),
    )


def _unanswered(kind: Kind, source: RunState) -> tuple[Row, ...]:
    """The rows for an exposure that the camera did not confirm: a few more tries, then once more at the end."""
    here = (source,)
    return (
        Row(kind, here, S.RECOVERING, "try_again", condition="may_try_again"),
        Row(kind, here, S.STOPPING, "stop_silent_camera", condition="camera_is_gone"),
        Row(kind, here, S.RECOVERING, "put_off"),
    )


NOTES: dict[tuple[RunState, Kind], tuple[str, ...]] = {
    (S.CONNECTING, Kind.WELCOMED): ("note_welcome",),
    (S.RECONNECTING, Kind.WELCOMED): ("note_welcome",),
    (S.QUIETING, Kind.AT_REST): ("note_rest",),
    (S.WARNING, Kind.WAITED): ("note_warned",),
    (S.ASKING, Kind.ANSWERED): ("note_answered",),
    (S.ASKING, Kind.DECLINED): ("note_declined",),
    (S.ARMING, Kind.ARMED): ("note_armed",),
    (S.EXPOSING, Kind.EXPOSED): ("note_exposed",),
    (S.TRANSFERRING, Kind.FILED): ("note_filed",),
    (S.TRANSFERRING, Kind.OVERDUE): ("note_no_file",),
    (S.REFERENCING, Kind.REFERENCED): ("note_zero",),
    (S.MOVING, Kind.ARRIVED): ("note_arrived",),
    (S.CHECKING, Kind.CHECKED): ("note_index",),
    (S.PAUSED, Kind.GO_ON): ("note_go_on",),
}
ROWS: tuple[Row, ...] = (
    # The photographs, one after the other.
    Row(Kind.START, (S.IDLE,), S.CONNECTING, "greet"),
    Row(Kind.WELCOMED, (S.CONNECTING,), S.QUIETING, "quieten", condition="may_still_know"),
    *_onward(Kind.WELCOMED, S.CONNECTING),
    *_onward(Kind.WAITED, S.WARNING),
    Row(Kind.ARMED, (S.ARMING,), S.STOPPING, "stop_stuck", condition="gets_nowhere"),
    Row(Kind.ARMED, (S.ARMING,), S.CHECKING, "look", condition="goes_on_unseen"),
    *_onward(Kind.ARMED, S.ARMING),
    Row(Kind.REFERENCED, (S.REFERENCING,), S.CHECKING, "look", condition="look_is_due"),
    *_onward(Kind.REFERENCED, S.REFERENCING),
    Row(Kind.ARRIVED, (S.MOVING,), S.CHECKING, "look", condition="look_is_due"),
    *_onward(Kind.ARRIVED, S.MOVING, S.SETTLING),
    Row(Kind.WAITED, WAITING, S.LISTENING, "listen", condition="exposes_in_wind"),
    Row(Kind.WAITED, (S.SETTLING,), S.PAUSED, "rest", condition="pause_is_due"),
    Row(Kind.WAITED, (S.SETTLING,), S.EXPOSING, "expose"),
    Row(Kind.EXPOSED, (S.EXPOSING,), S.TRANSFERRING, "await_file", condition="file_is_due"),
    *_onward(Kind.EXPOSED, S.EXPOSING),
    *_onward(Kind.FILED, S.TRANSFERRING),
    *_onward(Kind.WAITED, S.RECOVERING, S.EXPOSING, "expose"),
    # Zero where it should be, or not.
    Row(Kind.CHECKED, (S.CHECKING,), S.STOPPING, "stop_distrust", condition="index_is_off_again"),
    Row(Kind.CHECKED, (S.CHECKING,), S.MOVING, "bring_home", condition="must_bring_home"),
    Row(Kind.CHECKED, (S.CHECKING,), S.REFERENCING, "distrust", condition="index_is_off"),
    *_onward(Kind.CHECKED, S.CHECKING, S.SETTLING),
    # A gust, where the board senses the wind.
    Row(Kind.CALM, (S.LISTENING,), S.SETTLING, "settle_again", condition="it_has_blown"),
    Row(Kind.CALM, (S.LISTENING,), S.EXPOSING, "expose"),
    Row(Kind.GUSTY, (S.LISTENING,), S.STOPPING, "stop_wind", condition="wind_lasts"),
    Row(Kind.GUSTY, (S.LISTENING,), S.WINDY, "wait_for_calm"),
    Row(Kind.WAITED, (S.WINDY,), S.LISTENING, "listen"),
    Row(Kind.ANSWERED, (S.ASKING,), S.RECOVERING, "take_by_hand", condition="holds_camera"),
    *_onward(Kind.ANSWERED, S.ASKING),
    Row(Kind.DECLINED, (S.ASKING,), S.PAUSED, "rest", condition="declined_motion"),
    *_onward(Kind.DECLINED, S.ASKING),
    Row(Kind.AT_REST, (S.CLOSING,), S.FAILED, "fail_incomplete", condition="something_is_missing"),
    Row(Kind.AT_REST, (S.CLOSING,), S.DONE, "complete"),
    Row(Kind.LINK_LOST, (S.CLOSING,), S.FAILED, "fail_incomplete", condition="something_is_missing"),
    Row(Kind.LINK_LOST, (S.CLOSING,), S.DONE, "complete_unheard"),
    Row(Kind.RESTARTED, (S.CLOSING,), S.FAILED, "fail_incomplete", condition="something_is_missing"),
    Row(Kind.RESTARTED, (S.CLOSING,), S.DONE, "complete"),  # a board that has just started is disarmed
    # The camera stays silent: a few more tries, then once more at the end.
    *_unanswered(Kind.NOT_CONFIRMED, S.EXPOSING),
    *_unanswered(Kind.OVERDUE, S.TRANSFERRING),
    # The operator's pauses. Before the head moves, a pause keeps it still at once.
    Row(Kind.PAUSE, PEOPLE, S.PAUSED, "rest"),
    Row(Kind.PAUSE, tuple(state for state in LIVE if state not in PEOPLE), None, "want_pause"),
    Row(Kind.PAUSE_AFTER_ROW, LIVE, None, "want_pause"),
    *_onward(Kind.GO_ON, S.PAUSED),
    Row(Kind.GO_ON, (S.CONNECTING, *UNPAUSED, *AWAY), None, "note_go_on"),
    Row(Kind.RETAKE, (*LIVE, *ENDING), None, "want_again"),
    *(Row(kind, ENDING, None) for kind in (Kind.PAUSE, Kind.PAUSE_AFTER_ROW, Kind.GO_ON)),
    # What ends a run early, with the head brought to rest first.
    Row(Kind.STOP, (S.CONNECTING,), S.FAILED, "fail_stopped"),
    Row(Kind.STOP, (S.ARMING, *ARMED), S.STOPPING, "stop_as_asked"),
    Row(Kind.STOP, ENDING, None),
    Row(Kind.HALT, (S.CONNECTING,), S.FAILED, "halt_unheard"),
    Row(Kind.HALT, (S.ARMING, *ARMED, *ENDING), S.STOPPING, "halt_as_asked"),
    # What an earlier run left behind is none of ours.
    Row(Kind.HELD, (S.CONNECTING, S.ARMING), None),
    Row(Kind.OVERDUE, COMMANDED, S.SUSPENDED, "doubt", condition="first_overdue"),
    Row(Kind.OVERDUE, COMMANDED, S.STOPPING, "stop_overdue"),
    Row(Kind.REFUSED, (S.ARMING, *COMMANDED), S.STOPPING, "stop_refused", condition="is_refused_again"),
    Row(Kind.REFUSED, (S.ARMING, *COMMANDED), S.SUSPENDED, "suspend", condition="lost_its_place"),
    Row(Kind.REFUSED, (S.ARMING,), S.SUSPENDED, "wait_for_supply", condition="supply_is_low"),
    Row(Kind.REFUSED, (S.ARMING,), S.SUSPENDED, "suspend", condition="still_stopping"),
    Row(Kind.REFUSED, (S.CONNECTING, S.ARMING), S.FAILED, "fail_refused"),
    Row(Kind.REFUSED, (*COMMANDED, *WATCHING), S.STOPPING, "stop_refused"),
    Row(Kind.AT_REST, (S.STOPPING,), S.FAILED, "fail_at_rest"),
    # What was under way when the stop came still reports how it ended.
    Row(Kind.EXPOSED, (S.STOPPING,), None, "conclude"),
    Row(Kind.NOT_CONFIRMED, (S.STOPPING,), None, "conclude"),
    Row(Kind.CUT_SHORT, (S.STOPPING,), None, "conclude"),
    Row(Kind.FILED, (S.STOPPING,), None, "conclude_filed"),
    Row(Kind.ARRIVED, (S.STOPPING,), None),
    Row(Kind.REFERENCED, (S.STOPPING,), None),
    # The line or the board is gone for a while: wait, greet again, go on.
    Row(Kind.LINK_LOST, UNDER_WAY, S.SUSPENDED, "suspend"),
    Row(Kind.RESTARTED, UNDER_WAY, S.SUSPENDED, "suspend"),
    Row(Kind.CUT_SHORT, COMMANDED, S.SUSPENDED, "suspend"),
    Row(Kind.HELD, ARMED, S.SUSPENDED, "suspend", condition="only_silence"),
    Row(Kind.WAITED, (S.SUSPENDED,), S.RECONNECTING, "reconnect"),
    Row(Kind.WELCOMED, (S.RECONNECTING,), S.QUIETING, "quieten"),
    Row(Kind.AT_REST, (S.QUIETING,), S.FAILED, "fail_held", condition="needs_a_look"),
    *_onward(Kind.AT_REST, S.QUIETING),
    *(
        Row(kind, (S.QUIETING,), S.FAILED, "fail_in_vain", condition="is_greeted_in_vain")
        for kind in (Kind.LINK_LOST, Kind.RESTARTED)
    ),
    Row(Kind.LINK_LOST, (S.RECONNECTING, S.QUIETING), S.SUSPENDED, "suspend_again", condition="has_patience"),
    Row(Kind.RESTARTED, (S.QUIETING,), S.SUSPENDED, "suspend_again"),
    Row(Kind.LINK_LOST, (S.SUSPENDED,), None),
    Row(Kind.RESTARTED, (S.SUSPENDED, S.RECONNECTING), None),
    Row(Kind.AT_REST, (S.SUSPENDED, S.RECONNECTING), None),  # a late answer; where it stands is asked again
    *(Row(kind, (S.SUSPENDED,), None) for kind in (Kind.REFUSED, Kind.ARMED)),
    *(Row(kind, AWAY, None, "learn") for kind in (Kind.EXPOSED, Kind.NOT_CONFIRMED, Kind.CUT_SHORT)),
    Row(Kind.FILED, AWAY, None, "learn_filed"),
    *(Row(kind, (*AWAY, *ENDING), None) for kind in (Kind.CHECKED, Kind.CALM, Kind.GUSTY)),  # a late answer
    *(Row(kind, AWAY, None) for kind in (Kind.HELD, Kind.ARRIVED, Kind.REFERENCED)),
    # The board says what cannot be true: nothing is armed any more, and nothing that rests on its word counts.
    Row(Kind.CONTRADICTED, (S.CONNECTING,), S.FAILED, "fail_contradicted"),
    Row(Kind.CONTRADICTED, (*UNDER_WAY, S.SUSPENDED, S.RECONNECTING), S.STOPPING, "stop_contradicted"),
    Row(Kind.CONTRADICTED, (S.QUIETING, *ENDING), S.STOPPING, "note_contradicted"),  # it was told to stop already
    # What ends a run at once: nothing moves any more, or nothing can be said to the board.
    Row(Kind.STOP, AWAY, S.FAILED, "fail_stopped_while_lost"),
    Row(Kind.HALT, AWAY, S.FAILED, "fail_stopped_while_lost"),
    Row(Kind.REFUSED, (S.RECONNECTING,), S.FAILED, "fail_refused"),
    Row(Kind.OVERDUE, (S.QUIETING, *ENDING), S.FAILED, "fail_not_at_rest"),
    Row(Kind.HELD, (*ARMED, *ENDING), S.FAILED, "fail_held"),
    Row(Kind.RESTARTED, (S.STOPPING,), S.FAILED, "fail_at_rest"),
    Row(Kind.LINK_LOST, (S.CONNECTING, S.RECONNECTING, S.QUIETING, S.STOPPING), S.FAILED, "fail_link_lost"),
)


def _strays() -> tuple[Row, ...]:
    """Rows for what a board says at a time that nothing else foresees: it is of no use, and changes nothing."""
    settled = {(state, row.kind) for row in ROWS if row.condition is None for state in row.sources}
    return tuple(
        Row(kind, (state,), None) for kind in OF_BOARD for state in (*LIVE, *ENDING) if (state, kind) not in settled
    )


STRAYS = _strays()


def mermaid() -> str:
    """The table, but for the strays, as a mermaid state diagram, one arrow for each row and source."""
    lines = ["stateDiagram-v2", f"    [*] --> {S.IDLE.value}"]
    for row in ROWS:
        for source in row.sources:
            target = source if row.target is None else row.target
            label = row.kind.value + (f" [{row.condition}]" if row.condition else "")
            lines.append(f"    {source.value} --> {target.value}: {label}")
    lines += [f"    {state.value} --> [*]" for state in FINAL]
    return "\n".join(lines) + "\n"
