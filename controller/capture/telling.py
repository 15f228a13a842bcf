"""What happens to a request from another terminal: the run reads it, the next run will, or it is too late."""

from collections.abc import Callable, Collection, Iterable
from pathlib import Path

from controller import clock
from controller.capture.events import EventKind
from controller.capture.operator import as_wanted
from controller.capture.states import ENDING, FINAL, PEOPLE, RunState
from controller.capture.words.run import REQUESTS
from controller.errors import InputError, WorldError
from controller.lock import in_use
from controller.reading import PLAN_IN_SESSION, parse_json, refuse
from controller.session.rows import RequestRow
from controller.session.session import Session
from protocol.units import MS, NS

PATIENCE_NS = 5 * NS
LOOK_NS, LOOKS = 10 * MS, 25  # between checks that it was read; so many until the run itself is checked
ENDED: set[str] = {*ENDING, *FINAL}
BEFORE_MOTION: set[str] = {*PEOPLE}
UNREAD = (
    "The request is left in the session; the run has not read it yet. It may be waiting for an answer at its terminal."
)


def to_nobody(session: Session, request: RequestRow) -> str:
    """Store a request for the next run."""
    path = session.path
    if as_wanted(request).kind is not EventKind.RETAKE:
        raise WorldError(
            f"No run of {path} is active, so {request.wanted} changes nothing; only `retake` works without a run. "
            f"`fullturn resume {path}` continues it."
        )
    again = _counting(session, request.frames)
    session.doubt_frames(request.frames)
    sentences = []
    if again:
        sentences.append(f"`fullturn resume {path}` reshoots {_frames(again)}.")
    if rest := set(request.frames) - again:
        sentences.append(
            f"{_frames(rest).capitalize()} {_are(rest)} missing anyway: `fullturn resume {path}` shoots {_it(rest)}."
        )
    return " ".join(sentences)


def to_the_run(session: Session, request: RequestRow) -> str:
    """Leave the request for the run, and report what becomes of it."""
    kind, path = as_wanted(request).kind, session.path
    again = _counting(session, request.frames)
    number, before = session.request(request), ""

    def look() -> None:
        nonlocal before
        before = session.state()

    taken = _wait_taken(session, number, look)
    if taken is None:
        return UNREAD
    if not taken:
        return _unread(path, kind)
    # The end that a stop itself causes must not count as "ending already", so only the state before it counts.
    ending = (before if kind in {EventKind.STOP, EventKind.HALT} else session.state()) in ENDED
    question = session.open_question()
    if kind is EventKind.GO_ON and question is not None:
        return f"Request received. The run waits for an answer: {question[1]} (`fullturn tell {path} yes` or `no`)"
    return f"Request received. {_does(path, request, again, before, ending=ending)}"


def _wait_taken(session: Session, number: int, look: Callable[[], None]) -> bool | None:
    """Wait until the run has read this request, calling `look` meanwhile.

    False if the run ended without reading it, None if that takes too long.
    """
    deadline_ns, looks = clock.monotonic_ns() + PATIENCE_NS, 0
    while not session.is_taken(number):
        look()
        looks += 1
        if looks % LOOKS == 0 and not in_use(session.path) and not session.is_taken(number):
            return False
        if clock.monotonic_ns() > deadline_ns:
            return None
        clock.wait_ns(LOOK_NS)
    return True


def to_a_question(session: Session, request: RequestRow) -> str:
    """Answer the open question, or the one that the request names. Raises WorldError if that is not open."""
    question = session.open_question() if in_use(session.path) else None
    if question is None:
        raise WorldError(f"No question is open, so {request.wanted} changes nothing.")
    number, words = question
    if request.question not in {None, number}:
        raise WorldError(f"That question is closed, and the run asks another one; read it first: {words}")
    still_open: tuple[int, str] | None = question

    def look() -> None:
        nonlocal still_open
        still_open = session.open_question()

    taken = _wait_taken(session, session.request(RequestRow(request.wanted, question=number)), look)
    if taken is None:
        return UNREAD
    if not taken or still_open != question:
        raise WorldError(f"The question was answered already, or the run ended: {words}")
    return f"Answered {request.wanted} to: {words}"


def _unread(path: Path, kind: EventKind) -> str:
    """The sentence if the run ended without reading it. A request to retake stays valid."""
    if kind is EventKind.RETAKE:
        return f"The run ended before it read the request; `fullturn resume {path}` shoots these frames."
    raise WorldError(f"The run ended before it read the request; `fullturn resume {path}` continues it.")


def _does(path: Path, request: RequestRow, again: set[int], before: str, *, ending: bool) -> str:
    """What the run does about a request that it has read."""
    kind = as_wanted(request).kind
    if kind is EventKind.RETAKE:
        return _reshoots(path, set(request.frames), again, ending=ending)
    if ending and kind is not EventKind.HALT:
        return f"The run is ending already, so {request.wanted} changes nothing."
    if before in BEFORE_MOTION and kind is EventKind.PAUSE:
        return "The run pauses before the head moves."
    if not before and kind in {EventKind.STOP, EventKind.HALT}:
        return "The run has not begun, and ends here: the head stops, and nothing is shot."
    if before == RunState.PAUSED:
        if kind in {EventKind.PAUSE, EventKind.PAUSE_AFTER_ROW}:
            return "The run is paused already."
        if kind is EventKind.GO_ON:
            return "The run continues: after a warning the head moves again."
    return REQUESTS[kind].format(path=path)


def _reshoots(path: Path, frames: set[int], again: set[int], *, ending: bool) -> str:
    sentences = []
    if again:
        when = f"The run is ending: `fullturn resume {path}` reshoots" if ending else "At its end the run reshoots"
        sentences.append(f"{when} {_frames(again)}.")
    if rest := frames - again:
        sentences.append(f"{_frames(rest).capitalize()} {_are(rest)} still to come anyway.")
    return " ".join(sentences)


def _counting(session: Session, frames: Collection[int]) -> set[int]:
    """Which of the frames have an exposure that counts."""
    return {frame for frame, _ in session.made()} & set(frames) if frames else set()


def _frames(frames: Collection[int]) -> str:
    return f"frame{'' if len(frames) == 1 else 's'} {', '.join(map(str, sorted(frames)))}"


def _are(frames: Collection[int]) -> str:
    return "is" if len(frames) == 1 else "are"


def _it(frames: Collection[int]) -> str:
    return "it" if len(frames) == 1 else "them"


def must_be_planned(frames: Iterable[int], plan: str, path: Path) -> None:
    """Raise InputError if a frame is not in the plan, or the plan is damaged.

    The plan is not loaded and proved for that, which saves a second: the person may need to stop the run.
    """
    wanted = set(frames)
    if not wanted:
        return
    content = parse_json(plan, path, PLAN_IN_SESSION)
    try:
        planned = {int(frame["id"]) for frame in content["frames"]}
        most = max(planned)
    except (KeyError, TypeError, ValueError):
        refuse(path, PLAN_IN_SESSION, "has a damaged plan")
    unknown = wanted - planned
    if unknown:
        raise InputError(f"There is no frame {min(unknown)}; this plan has frames 0 to {most}.")
