"""A table of a board's lies: what it does or reports, and what the run's last sentence must then mention."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from tests.end_to_end.lying_board import MOVING, NS, READY, LyingBoard, Message, Words
from tests.end_to_end.lying_codec import MESSAGES, encode, wire

Say = Callable[[LyingBoard, Message], Words]


@dataclass(frozen=True)
class Lie:
    """`deed` changes the board, `say` what it sends. `speaks_of` is a pattern for the sentence, with "is through" only if
    the lie does no harm. `patience_s` limits the length of the run. `stream` are bytes that arrive all the time.
    """

    speaks_of: str
    deed: Callable[[LyingBoard], None] = lambda _: None
    say: Say | None = None
    patience_s: float = 120.0
    stream: Callable[[int], bytes] | None = None


def acts(**attributes: Any) -> Callable[[LyingBoard], None]:
    def deed(board: LyingBoard) -> None:
        for name, value in attributes.items():
            assert hasattr(board, name)
            setattr(board, name, value)

    return deed


def edit(name: str, **changes: Any) -> Say:
    """Replace fields of one kind of message by a number, or by the result of a function of the board and the fields."""

    def say(board: LyingBoard, message: Message) -> Words:
        kind, seq, fields = message
        if kind != name:
            return [message]
        made = {field: new(board, fields) if callable(new) else new for field, new in changes.items()}
        return [(kind, seq, {**fields, **made})]

    return say


def when(condition: Callable[[LyingBoard, dict[str, Any]], bool], say: Say) -> Say:
    return lambda board, message: say(board, message) if condition(board, message[2]) else [message]


def both(first: Say, second: Say) -> Say:
    """Two lies together."""

    def say(board: LyingBoard, message: Message) -> Words:
        words: list[Message | bytes] = []
        for word in first(board, message):
            words += [word] if isinstance(word, bytes) else second(board, word)
        return words

    return say


def refuse(reason: int, *names: str) -> Say:
    """Refuse these requests (all if none are named)."""

    def say(board: LyingBoard, message: Message) -> Words:
        kind, seq, _ = message
        asked = board.commands[-1][1]
        is_answer = kind in ("Welcome", "Accepted", "Refused", "Status", "Index")
        return [("Refused", seq, {"reason": reason})] if is_answer and (not names or asked in names) else [message]

    return say


def lose(*names: str) -> Say:
    return lambda _, message: [] if message[0] in names else [message]


def again(name: str, times: int) -> Say:
    return lambda _, message: [message] * (times if message[0] == name else 1)


def after(name: str, *more: tuple[str, dict[str, Any]]) -> Say:
    """Send more messages after each of a kind."""
    behind: list[Message | bytes] = [(kind, 0, fields) for kind, fields in more]
    return lambda _, message: [message, *behind] if message[0] == name else [message]


def _once_ended(board: LyingBoard, _: Any) -> bool:
    return board.finished > 0


def _longer_welcome(_: LyingBoard, message: Message) -> Words:
    payload = bytes([2, 0]) + bytes(26)
    return [wire(MESSAGES["Welcome"][0], message[1], payload)] if message[0] == "Welcome" else [message]


def _boots(board: LyingBoard, _: Any) -> int:
    return board.boot + len(board.commands)


def _held(cause: int) -> tuple[str, dict[str, Any]]:
    return "Held", {"cause": cause, "pan": 0, "tilt": 0, "clock_ms": 9}


def _sync_for_none(_: LyingBoard, fields: dict[str, Any]) -> int:
    return 3 if fields["outcome"] == 5 else int(fields["outcome"])


def _answers(name: str, *to: str) -> Say:
    """Send the right answer to the wrong question."""

    def say(board: LyingBoard, message: Message) -> Words:
        fields = board._status({})[1] if name == "Status" else {}
        return [(name, message[1], fields)] if message[0] in to else [message]

    return say


def _back(name: str) -> Say:
    return edit(name, clock_ms=lambda _, f: 10**6 - f["clock_ms"])


def _short_index(_: LyingBoard, message: Message) -> Words:
    return [wire(0xCA, message[1], b"\x01\x02")] if message[0] == "Index" else [message]


NO = (
    "refuse|cannot do|does not know|not armed|later command|has restarted|cannot be armed|armed before|"
    "another major version|was not told to move"
)
STILL = "stands still|still stopping|goes on"
LINE = "does not answer|greetings"
UNSURE = "is through|interrupted"
ODD = bytes(range(1, 200))
GARBAGE = b"\xff\x13\x00\x37" * 6
AGES_S = 1900.0  # a line that was good and falls silent may be repaired: half an hour, plus bringing the head to rest

LIES: dict[str, Lie] = {
    # The position of the head.
    "never moves, and says so": Lie("should be at", acts(miss=lambda _: (0, 0))),
    "never moves, and counts on": Lie("switch at zero", acts(follows=False)),
    "moves elsewhere": Lie("should be at", acts(miss=lambda goal: (goal[0] + 5000, goal[1]))),
    "is one step off": Lie("should be at", acts(miss=lambda goal: (goal[0], goal[1] - 1))),
    "always goes to the same place": Lie("should be at", acts(miss=lambda _: (6400, 3200))),
    "mirrors the tilt": Lie("should be at", acts(miss=lambda goal: (goal[0], -goal[1]))),
    "tells of another place": Lie("should be at", say=edit("Finished", pan=lambda _, f: f["pan"] + 77)),
    "finds zero away from zero": Lie(
        "should be at", say=when(lambda _, f: f.get("outcome") == 2, edit("Finished", tilt=9))
    ),
    "wanders while it rests": Lie("not told to move", say=edit("Status", pan=lambda b, f: f["pan"] + b.now // NS + 1)),
    "is elsewhere in Status": Lie("not told to move", say=edit("Status", tilt=lambda _, f: f["tilt"] - 40)),
    "forgets where pan is": Lie(
        "where pan points", say=both(lose("Finished"), edit("Status", flags=lambda _, f: f["flags"] & ~2))
    ),
    "forgets where both are": Lie(
        "where pan and tilt", say=both(lose("Finished"), edit("Status", flags=lambda _, f: f["flags"] & 1))
    ),
    # Durations.
    "answers at once": Lie("at least", acts(quick=0.0, hurry=0.0)),
    "takes half the time": Lie("at least", acts(quick=0.5)),
    "exposes in no time": Lie("at least", acts(hurry=0.0)),
    "takes shapers and does not use them": Lie("at least", acts(shapes=False)),
    "takes a hundredth of the time by its clock": Lie(
        "at least|backward", say=edit("Finished", clock_ms=lambda _, f: 1000 + f["clock_ms"] // 100)
    ),
    "answers at once, with a clock that jumps": Lie(
        "at least",
        acts(quick=0.0, hurry=0.0),
        edit("Finished", clock_ms=lambda b, f: f["clock_ms"] + 60_000 * b.finished),
    ),
    "its clock stands still": Lie(
        "at least|backward", say=both(edit("Finished", clock_ms=5), edit("Status", clock_ms=5, finished_ms=5))
    ),
    "its clock runs backward": Lie("backward", say=both(_back("Status"), _back("Finished"))),
    "ends things in the future": Lie("backward", say=edit("Status", finished_ms=lambda _, f: f["clock_ms"] + 10**6)),
    # Endings.
    "never finishes": Lie("took far longer|cannot be", acts(finishes=False)),
    "never sends Finished": Lie("is through", say=lose("Finished")),
    "finishes the wrong id": Lie("is through", say=edit("Finished", id=lambda _, f: f["id"] + 4711)),
    "finishes the wrong id in Status, too": Lie(
        "neither carries it out",
        say=both(lose("Finished"), edit("Status", finished=lambda _, f: f["finished"] + 4711)),
    ),
    "finishes with no outcome": Lie("ended with NONE", say=edit("Finished", outcome=0)),
    "arrives whatever it was told": Lie("ended with ARRIVED", say=edit("Finished", outcome=1)),
    "exposes whatever it was told": Lie("ended with EXPOSED", say=edit("Finished", outcome=3)),
    "cuts everything short": Lie("interrupted", say=edit("Finished", outcome=6)),
    "has an outcome of its own": Lie("ended with NONE|is through", say=edit("Finished", outcome=99)),
    "has an outcome of its own in Status, too": Lie(
        "cannot read|ended with", say=both(edit("Finished", outcome=99), edit("Status", outcome=99))
    ),
    "says everything twice": Lie("is through", say=lambda _, message: [message, message]),
    "repeats Finished": Lie("is through", say=again("Finished", 20)),
    "contradicts its Finished in Status": Lie("ended|is through", say=edit("Status", outcome=1)),
    # The camera.
    "fires no shutter, and has no answer": Lie("camera did not answer", acts(fires=False)),
    "fires no shutter, and says that it did at once": Lie(
        "at least", acts(fires=False, hurry=0.1), edit("Finished", outcome=_sync_for_none)
    ),
    "syncs without a contact": Lie("no such contact", say=edit("Welcome", capabilities=2 | 4)),
    "exposes blindly with a contact": Lie(
        "exposed without one", say=when(lambda _, f: f.get("outcome") == 3, edit("Finished", outcome=4))
    ),
    # Its activity.
    "is ready while it moves": Lie(
        "neither|cannot be", say=both(lose("Finished"), edit("Status", state=READY, running=0, finished=0))
    ),
    "moves while it is ready": Lie("cannot be", say=when(_once_ended, edit("Status", state=MOVING))),
    "carries out something else": Lie("did not give it|cannot be", say=edit("Status", running=815)),
    "is armed and disarmed": Lie("cannot be", say=edit("Status", flags=lambda _, f: f["flags"] ^ 1)),
    "is stopping for ever": Lie(STILL, say=when(_once_ended, edit("Status", state=5, flags=6, running=0))),
    "takes a stop and goes on": Lie(STILL, acts(obeys_stop=False)),
    "has a state of its own": Lie("cannot read", say=edit("Status", state=77)),
    # Refusals.
    **{f"refuses everything for reason {reason}": Lie(NO, say=refuse(reason)) for reason in (*range(1, 11), 200)},
    **{
        f"refuses {name} for reason {reason}": Lie(
            NO + ("|is through" if name == "Expose" else ""), say=refuse(reason, name)
        )
        for name in ("SetAxis", "SetShaper", "Arm", "Reference", "Move", "Expose", "Stop", "GetStatus", "GetIndex")
        for reason in (1, 2, 5, 6, 8, 200)
    },
    # Stops by itself.
    "is held without a cause": Lie("without saying why", say=after("Finished", _held(0))),
    "is held all the time": Lie("interrupted", say=after("Accepted", *[_held(4)] * 30)),
    "was stalled, it says": Lie("stalled", say=after("Status", _held(6))),
    "restarts, it says, all the time": Lie(
        "greetings|interrupted", say=after("Accepted", ("Booted", {"boot": 99, "cause": 1}))
    ),
    "is another boot in each Status": Lie("greetings|interrupted", say=edit("Status", boot=_boots)),
    "is another boot in each Welcome": Lie("greetings|interrupted|has restarted", say=edit("Welcome", boot=_boots)),
    # Its identity.
    "is of version 2": Lie("speaks version 2.x", say=edit("Welcome", major=2)),
    "is of a version 2 with a longer Welcome": Lie("speaks version 2.x", say=_longer_welcome),
    "can receive nothing": Lie("receive 0 bytes", say=edit("Welcome", bytes=0)),
    "can make no steps": Lie("highest step rate is 0", say=edit("Welcome", rate=0)),
    "took the last id of all": Lie("is through", acts(last=2**32 - 1)),
    "took the last id of all, it says": Lie(UNSURE, say=edit("Welcome", last=2**32 - 1)),
    "has another nonce": Lie(LINE, say=edit("Welcome", nonce=1)),
    # Zero.
    "counts switches backward": Lie("backward", say=edit("Index", pan_edges=lambda b, _: 1000 - len(b.commands))),
    "sees zero far away": Lie(
        "found elsewhere", say=edit("Index", pan=2**31 - 1, pan_edges=lambda _, f: f["pan_edges"] + 1)
    ),
    "has edges without a switch": Lie(
        "no such switch|found elsewhere", acts(capabilities=1 | 4 | 8), edit("Index", pan_edges=3)
    ),
    "answers with nonsense for an index": Lie("cannot read", say=_short_index),
    # The line.
    "has the wrong seq": Lie(LINE, say=lambda _, m: [(m[0], m[1] + 1, m[2])]),
    "answers everything with Accepted": Lie(LINE, say=_answers("Accepted", "Welcome", "Status", "Index")),
    "answers everything with a Status": Lie(LINE, say=_answers("Status", "Welcome", "Accepted")),
    "sends bytes that are none": Lie("bytes come", say=lambda _, __: [GARBAGE], patience_s=AGES_S),
    "sends bytes without end": Lie(UNSURE, stream=lambda _: ODD),
    "sends half of each frame": Lie("does not answer", say=lambda _, m: [encode(*m)[:-4]], patience_s=AGES_S),
    "sends frames without end": Lie(
        UNSURE, stream=lambda _: encode("Finished", 0, {"id": 2**31, "outcome": 1, "pan": 0, "tilt": 0, "clock_ms": 0})
    ),
    "falls silent": Lie("not a byte", acts(hears=False), patience_s=AGES_S),
    "never says its status": Lie(LINE, say=lose("Status")),
    "never says hello": Lie("does not answer", say=lose("Welcome"), patience_s=AGES_S),
    "never accepts": Lie(LINE, say=lose("Accepted"), patience_s=AGES_S),
    "sends only zeros": Lie("bytes come", say=lambda _, __: [bytes(40)], patience_s=AGES_S),
    "sends back what it hears": Lie(LINE, say=lambda _, m: [encode("GetStatus", m[1], {})]),
}
