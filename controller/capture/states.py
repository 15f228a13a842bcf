"""The states of a run and the groups they belong to; `table.py` states what a group does once for all of them."""

from enum import Enum, StrEnum


class RunState(StrEnum):
    """The state of a run. Sessions store the values."""

    IDLE = "idle"
    CONNECTING = "connecting"
    WARNING = "warning"
    ASKING = "asking"
    ARMING = "arming"
    REFERENCING = "referencing"
    MOVING = "moving"
    EXPOSING = "exposing"
    TRANSFERRING = "transferring"
    SETTLING = "settling"
    RECOVERING = "recovering"
    CHECKING = "checking"
    LISTENING = "listening"
    WINDY = "windy"
    PAUSED = "paused"
    SUSPENDED = "suspended"
    RECONNECTING = "reconnecting"
    QUIETING = "quieting"
    CLOSING = "closing"
    STOPPING = "stopping"
    DONE = "done"
    FAILED = "failed"


class StateGroup(Enum):
    """A parent of states or of other groups. Its value names what its members have in common."""

    UNDERWAY = "under way"
    PEOPLE = "people are told or asked before the head moves"
    COMMANDED = "the board carries out a command"
    WAITING = "time passes until the head and the camera are ready"
    WATCHING = "zero and the wind are checked"
    AWAY = "the board is out of reach, or being found again"
    ENDING = "the head is brought to rest for good"


S, G = RunState, StateGroup
PARENT: dict[RunState | StateGroup, StateGroup] = {
    S.ARMING: G.UNDERWAY,
    S.PAUSED: G.UNDERWAY,
    S.TRANSFERRING: G.UNDERWAY,
    **dict.fromkeys((G.PEOPLE, G.COMMANDED, G.WAITING, G.WATCHING), G.UNDERWAY),
    **dict.fromkeys((S.WARNING, S.ASKING), G.PEOPLE),
    **dict.fromkeys((S.REFERENCING, S.MOVING, S.EXPOSING), G.COMMANDED),
    **dict.fromkeys((S.SETTLING, S.RECOVERING), G.WAITING),
    **dict.fromkeys((S.CHECKING, S.LISTENING, S.WINDY), G.WATCHING),
    **dict.fromkeys((S.SUSPENDED, S.RECONNECTING, S.QUIETING), G.AWAY),
    **dict.fromkeys((S.CLOSING, S.STOPPING), G.ENDING),
}
FINAL = (S.DONE, S.FAILED)


def lineage(state: RunState) -> tuple[RunState | StateGroup, ...]:
    """A state, its group, the group of that one, and so on outward."""
    line: list[RunState | StateGroup] = [state]
    while (parent := PARENT.get(line[-1])) is not None:
        line.append(parent)
    return tuple(line)


def members(group: StateGroup) -> tuple[RunState, ...]:
    """All states of a group, also those of groups inside it."""
    return tuple(state for state in RunState if group in lineage(state))


PEOPLE, AWAY, ENDING = members(G.PEOPLE), members(G.AWAY), members(G.ENDING)
RUNNING = tuple(state for state in RunState if state not in (S.IDLE, *FINAL))
