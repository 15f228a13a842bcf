"""`fullturn tell`: send a request from another terminal to the run of a session."""

from pathlib import Path

from controller.capture.operator import ANSWERS, request_of
from controller.capture.telling import must_be_planned, to_a_question, to_nobody, to_the_run
from controller.errors import InputError, WorldError
from controller.lock import Taken, in_use, lock_of, sole_use
from controller.session.rows import CAPTURE, RequestRow
from controller.session.session import OlderVersion, Session
from controller.shown import shown


def tell_command(path: Path, words: list[str]) -> str:
    """Leave the request, wait until the run has read it, and return sentences on what the run does about it.

    Raises InputError, WorldError, StorageFailed.
    """
    return tell_request(path, request_of(words))


def tell_request(path: Path, request: RequestRow) -> str:
    """The same with a request that was understood; an answer may name the number of its question."""
    with _open(path) as session:
        about = session.about()
        if about.get("kind") != CAPTURE:
            raise InputError(
                f"{path}: is the record of a {shown(about.get('kind', 'run'))}; only a capture can be told anything."
            )
        must_be_planned(request.frames, session.plan_text(), path)
        if request.wanted in ANSWERS:
            return to_a_question(session, request)
        if not in_use(path):
            try:
                with sole_use(lock_of(path), str(path), "fullturn tell"):  # so that no run begins meanwhile
                    return to_nobody(session, request)
            except Taken:
                pass  # a run has just begun
        return to_the_run(session, request)


def _open(path: Path) -> Session:
    """Open the session, migrated if it is older.

    It is not migrated while an older program runs it: that program would lose the tables that it knows.
    """
    try:
        return Session.open(path, to_write=True, migrate=False)
    except OlderVersion:
        pass
    try:
        with sole_use(lock_of(path), str(path), "fullturn tell"):
            return Session.open(path, to_write=True)
    except Taken:
        raise WorldError(
            f"{path}: an earlier version of Fullturn runs this session, and this one cannot tell it anything. Type the "
            "request at the run's own terminal, or press Ctrl-C there."
        ) from None
