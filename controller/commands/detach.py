"""Start a command that runs a head as a process of its own, which no terminal, browser or other program ends."""

import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from controller import clock
from controller.errors import InputError, StorageFailed
from controller.lock import in_use
from controller.session.new_place import must_be_free_session
from controller.session.session import Session
from controller.session.talk_rows import SentenceKind, SentenceRow
from controller.system.chosen import processes
from protocol.units import MS

DETACHED = "FULLTURN_DETACHED"
"""Set in the environment of a detached command, so that the same words do not detach it again: the name of its session,
which the command that was typed has chosen.
"""
LOOK_NS = 100 * MS


@dataclass(frozen=True, slots=True)
class DetachedRun:
    """How a detached command began: what it told people so far; or if it is over already, its status and its output.

    `status` is None if it is under way.
    """

    process: int
    sentences: tuple[SentenceRow, ...]
    status: int | None = None
    out: str = ""
    err: str = ""


def detached_name() -> Path | None:
    """The session's name if this program was started by `detach`; the commands that it starts itself are not."""
    name = os.environ.pop(DETACHED, None)
    return None if name is None else Path(name)


def detach(words: Sequence[str], name: Path, session: Path, *, new: bool) -> DetachedRun:
    """Run `fullturn WORDS` as a process of its own, and wait until it is under way on `session`, or over.

    `name` is the name of the session, or that which the sessions of a series have in common.

    It is under way once it has told people more than its checks. Its output goes nowhere from then on. If we are
    interrupted before that, it is asked to stop. Raises InputError, StorageFailed if a `new` session cannot be at that
    place, or an older one cannot be read.
    """
    if new:
        must_be_free_session(session)
    before = _last_number(session)
    child = subprocess.Popen(
        [sys.executable, "-m", "controller", *words],
        env=os.environ | {DETACHED: str(name)},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        errors="replace",
        **processes.apart(),
    )
    try:
        while child.poll() is None:
            told = _told(session, before)
            if any(sentence.kind is not SentenceKind.CHECK for sentence in told):
                return DetachedRun(child.pid, told)
            clock.wait_ns(LOOK_NS)
        out, err = child.communicate()
    except KeyboardInterrupt:
        child.terminate()
        raise
    return DetachedRun(child.pid, (), child.returncode, out, err)


def _last_number(session: Path) -> int:
    """The number of the latest sentence of a session; 0 if there is none."""
    if not session.exists():
        return 0
    with Session.open(session) as reading:
        return max((sentence.number for sentence in reading.sentences(latest=1)), default=0)


def _told(session: Path, after: int) -> tuple[SentenceRow, ...]:
    """What the run of this session has told people since."""
    try:
        if not session.exists() or not in_use(session):
            return ()
        with Session.open(session) as reading:
            return tuple(reading.sentences(after))
    except (InputError, StorageFailed):
        return ()  # it is being begun, migrated or removed at this moment
