"""Words for a run under way: its states, the events that change them, and the effect of a request."""

from typing import NamedTuple

from controller.capture.events import EventKind
from controller.capture.states import RunState

THROUGH = "The run is through."
"""The end of a run that has left nothing out. Its account says so only if there is more to say."""


class StateWords(NamedTuple):
    """`doing` is the text of a state in the display, `tale` that of entering it in the tale of a rehearsal. `lane` is the
    name of its lane in the picture of the times, empty if it has none.
    """

    doing: str
    tale: str
    lane: str = ""


S, K = RunState, EventKind
STATES: dict[RunState, StateWords] = {
    S.IDLE: StateWords("beginning", "has not begun"),
    S.CONNECTING: StateWords("greeting the board", "greets the board"),
    S.WARNING: StateWords("about to move: keep clear", "warns people before the head moves"),
    S.ASKING: StateWords("waiting for an answer: y or n, then Enter", "asks a person"),
    S.ARMING: StateWords("arming the board", "arms the board"),
    S.REFERENCING: StateWords("finding zero", "finds zero", lane="finding zero"),
    S.MOVING: StateWords("turning", "goes on turning", lane="moving"),
    S.EXPOSING: StateWords("exposing", "goes on exposing", lane="exposing"),
    S.TRANSFERRING: StateWords("waiting for the photograph", "waits for the photograph", lane="photograph on its way"),
    S.SETTLING: StateWords("waiting for the head to be still", "waits until the head is still", lane="settling"),
    S.RECOVERING: StateWords("waiting for the camera", "waits and tries again", lane="camera getting ready"),
    S.CHECKING: StateWords("looking where zero was seen", "looks where zero was seen"),
    S.LISTENING: StateWords("listening to the wind", "listens to the wind"),
    S.WINDY: StateWords("waiting for the wind to drop", "waits for calm"),
    S.PAUSED: StateWords("paused: Enter or `go-on` goes on", "pauses"),
    S.SUSPENDED: StateWords("the board is out of reach; trying again", "suspends the run"),
    S.RECONNECTING: StateWords("greeting the board again", "greets the board again"),
    S.QUIETING: StateWords("bringing the head to rest", "brings the head to rest"),
    S.CLOSING: StateWords("disarming the board", "disarms the board"),
    S.STOPPING: StateWords("bringing the head to rest", "stops"),
    S.DONE: StateWords("the run is over", "ends the run"),
    S.FAILED: StateWords("the run has ended early", "ends the run"),
}

DOING: dict[RunState, str] = {
    S.IDLE: "Beginning.",
    S.CONNECTING: "Greeting the board.",
    S.WARNING: "About to move: keep clear.",
    S.ASKING: "Waiting for an answer.",
    S.ARMING: "Arming the board.",
    S.REFERENCING: "Finding zero.",
    S.MOVING: "Turning to frame {frame}.",
    S.EXPOSING: "Exposing frame {frame}.",
    S.TRANSFERRING: "Waiting for the photograph of frame {frame}.",
    S.SETTLING: "Waiting at frame {frame} for the head to be still.",
    S.RECOVERING: "Waiting for the camera at frame {frame}.",
    S.CHECKING: "Looking where zero was seen.",
    S.LISTENING: "Listening to the wind.",
    S.WINDY: "Waiting for the wind to drop.",
    S.PAUSED: "Paused: the head stays still.",
    S.SUSPENDED: "The board is out of reach; trying again.",
    S.RECONNECTING: "Greeting the board again.",
    S.QUIETING: "Bringing the head to rest.",
    S.CLOSING: "Disarming the board.",
    S.STOPPING: "Bringing the head to rest.",
    S.DONE: "The run is over.",
    S.FAILED: "The run has ended early.",
}
"""What a run does, as one sentence for a window that is no terminal; `{frame}` is the current frame."""
GETTING_READY = "Getting ready."
HEAD_MOVES = "The head moves before the run begins: keep clear."
NO_RUN = "No run is active."
NO_END = "No run is active. The last one did not come to its end."
PAUSED_NOW = "now"


def doing_sentence(state: RunState, frame: int | None) -> str:
    """What a run in this state does at this frame."""
    return DOING[state].format(frame="?" if frame is None else frame)


EVENTS: dict[EventKind, str] = {
    K.LINK_LOST: "the board does not answer",
    K.RESTARTED: "the board has restarted",
    K.HELD: "the board has stopped by itself",
    K.CUT_SHORT: "the command was cut short",
    K.REFUSED: "the board refuses a command",
    K.CONTRADICTED: "the board says what cannot be true",
    K.OVERDUE: "a command takes too long",
    K.NOT_CONFIRMED: "the camera did not answer",
    K.CHECKED: "zero is not where it was",
    K.GUSTY: "it blows too hard",
    K.PAUSE: "asked to pause",
    K.STOP: "asked to stop",
    K.HALT: "asked to halt",
}
"""The event that changed a state, in the tale of a rehearsal."""
NOT_NARRATED: frozenset[EventKind] = frozenset(
    {K.START, K.WELCOMED, K.ARMED, K.REFERENCED, K.ARRIVED, K.EXPOSED, K.FILED, K.AT_REST, K.CALM, K.WAITED}
    | {K.ANSWERED, K.DECLINED, K.PAUSE_AFTER_ROW, K.GO_ON, K.RETAKE}
)
"""Events that the tale leaves out: planned ends, answers, and requests that change no state at once."""

CHANGES: dict[tuple[RunState, EventKind], str] = {
    (S.SUSPENDED, K.RESTARTED): "The board has restarted. The run is suspended; zero must be found again.",
    (S.SUSPENDED, K.OVERDUE): "A command takes too long; asking the board.",
    (S.SUSPENDED, K.HELD): "The board stopped: no word from here, or a low supply. The run goes on when it can.",
    (S.SUSPENDED, K.REFUSED): "The board refuses for now; trying again soon.",
    (S.SUSPENDED, K.CUT_SHORT): "The board stopped by itself; finding out why.",
    (S.RECOVERING, K.NOT_CONFIRMED): "The camera did not answer; trying again.",
    (S.RECOVERING, K.OVERDUE): "No photograph came; trying again.",
    (S.REFERENCING, K.CHECKED): "Zero was found elsewhere than it should be; the latest frames are shot again.",
    (S.WINDY, K.GUSTY): "It blows too hard; waiting for the wind to drop.",
}
"""The operator's warning when an event leads to a state. A lost line has its own: `board.LOST`."""

PAUSED = "Paused: the head stays still. Enter or `go-on` goes on, `stop` ends."
PLANNED_PAUSE = "for the battery, in about {left}"
PAUSES: dict[EventKind | None, str] = {
    None: "none requested",
    K.PAUSE: "after this exposure",
    K.PAUSE_AFTER_ROW: "after this row",
}
"""When the next pause comes, for each request that a run may have received."""

REQUESTS: dict[EventKind, str] = {
    K.PAUSE: "The run pauses as soon as the move or exposure under way has ended.",
    K.PAUSE_AFTER_ROW: "The run pauses when this row is complete.",
    K.GO_ON: "The run was not paused; a pause that was asked for is cancelled.",
    K.STOP: "The run stops with a ramp; `fullturn resume {path}` continues it.",
    K.HALT: "The run halts at once, and loses the position of the head; `fullturn resume {path}` continues it.",
}
"""What a run does about a request, unless it is paused or ending. A retake is confirmed with its frames."""
