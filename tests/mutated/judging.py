"""Runs a command in a folder, and checks what must be true whatever it prints."""

from __future__ import annotations

import contextlib
import functools
import hashlib
import io
import os
import re
import shutil
import signal
import stat
import sys
import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from types import FrameType
from typing import Any
from unittest.mock import patch

from markupsafe import Markup

from controller.errors import InputError
from controller.kit.load import load_kit
from controller.planning.plan_file import load_plan
from controller.report import drawing
from controller.session.session import Session
from tests.mutated.corpus import run

MOST_WORK_S = 10.0
OUT = "out"
OWN_NAMES = re.compile(r".*-plan(-\d+)?\.json|.*-rehearsal(-\d+)?")
"""What `plan` and `rehearse` write if no name is given (see `controller/own_names.py`)."""
SHOWS_ONLY = {"-h", "--help", "--version", "--list-faults"}


@dataclass(frozen=True, slots=True)
class Verdict:
    """The result of a case; `fault` is empty if everything was as required."""

    fault: str
    words: tuple[str, ...]
    status: int
    said: str
    told: str = ""


WRITTEN = {"tell": {"capture.sqlite"}, "calibrate": {"kit.calibration.json"}}
"""Files that a command may change."""


@functools.cache
def _known(path: str, about: tuple[int, ...]) -> str:
    """The digest of a file, worked out again only if `about`, its inode's numbers and times, is another."""
    del about
    return _sha256(path)


def _sha256(path: str) -> str:
    return hashlib.sha256(Path(path).read_bytes()).hexdigest()


def digests(folder: Path) -> dict[str, str]:
    """Digests of all contents of the folder, except for what a case writes."""
    clock = folder.with_name("clock")
    clock.write_bytes(b"")
    now_ns = clock.stat().st_ctime_ns  # by the file system's clock, which moves in steps of milliseconds
    found = {}
    for path, about in entries(folder):
        name = os.path.relpath(path, folder)
        if name == OUT or name.startswith(f"{OUT}/"):
            continue
        if stat.S_ISLNK(about.st_mode):
            found[name] = f"link to {os.readlink(path)}"
        elif not stat.S_ISREG(about.st_mode):
            found[name] = f"{stat.S_IFMT(about.st_mode)}, {about.st_rdev}"
        elif about.st_ctime_ns < now_ns:  # a later change would be at a later time
            found[name] = _known(path, (about.st_ino, about.st_size, about.st_mtime_ns, about.st_ctime_ns))
        else:
            found[name] = _sha256(path)
    return found


def entries(folder: Path) -> Iterator[tuple[str, os.stat_result]]:
    """Everything in the folder, a folder before what is in it; links are not followed."""
    waiting = [str(folder)]
    while waiting:
        with os.scandir(waiting.pop()) as found:
            for entry in sorted(found, key=lambda each: each.name):
                yield entry.path, entry.stat(follow_symlinks=False)
                if entry.is_dir(follow_symlinks=False):
                    waiting.append(entry.path)


class _HangError(BaseException):
    """A case took too long."""


@contextlib.contextmanager
def _bounded() -> Iterator[None]:
    def over(number: int, frame: FrameType | None) -> None:
        raise _HangError(f"{signal.Signals(number).name} in {frame.f_code.co_qualname if frame else '?'}")

    old = [signal.signal(number, over) for number in (signal.SIGPROF, signal.SIGALRM)]
    signal.setitimer(signal.ITIMER_PROF, MOST_WORK_S)
    signal.setitimer(signal.ITIMER_REAL, 12 * MOST_WORK_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.setitimer(signal.ITIMER_REAL, 0)
        for number, handler in zip((signal.SIGPROF, signal.SIGALRM), old, strict=True):
            signal.signal(number, handler)


@contextlib.contextmanager
def _drawn_once() -> Iterator[None]:
    """Draw each figure of a report for a phone only: that for a desk is the same figure, a second time."""

    def for_a_phone(draw: Callable[[float], Any], width_in: float, name: str, words: str) -> Markup:
        return drawn(draw, width_in, name, words) if width_in == drawing.PHONE_IN else Markup()

    drawn = drawing.svg
    with patch.object(drawing, "svg", for_a_phone):
        yield


def judge(words: tuple[str, ...], folder: Path) -> Verdict:
    """Run the command in `folder`, the current one, and judge what it did."""
    before = digests(folder)
    out, err = io.StringIO(), io.StringIO()
    fault, told, status = "", "", -1
    try:
        with _bounded(), _drawn_once(), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            status = run(*words)
    except _HangError as hang:
        fault, told = f"hang: {hang}", traceback.format_exc()
    except BaseException as error:  # any exception that escapes is the fault looked for
        fault, told = f"traceback: {type(error).__name__}: {str(error)[:120]}", traceback.format_exc()
    said = err.getvalue()
    if not fault and "Traceback" in said:
        fault = "traceback on stderr"
    after = digests(folder)
    changed = {name for name in before | after if before.get(name) != after.get(name)}
    named = {word.split("/")[0] for word in words}
    new = {
        name
        for name in changed - {*before}
        if "." in named or name.split("/")[0] in named or OWN_NAMES.fullmatch(name.split("/")[0])
    }  # by another name
    if changed - new - WRITTEN.get(words[0], set()):
        fault = fault or f"changed {sorted(changed)}"
    if not fault and status not in {0, 1, 2}:
        fault = f"exit status {status}"
    if not fault and status == 0:
        fault = _unusable(words)
    return Verdict(fault or _not_a_sentence(status, said), words, status, said.strip(), told)


def _not_a_sentence(status: int, said: str) -> str:
    """What a refusal lacks."""
    if status == 2:
        lines = [line for line in said.splitlines() if line and not line.startswith(("Usage:", "Try "))]
        if not lines:
            return "refused without a word"
        if any(re.search(r"Errno|0x[0-9a-f]{6}|object at|<class|Traceback", line) for line in lines):
            return "a library's words"
        if max(len(line) for line in lines) > 700:
            return f"a line of {max(len(line) for line in lines)} characters"
    return ""


def _unusable(words: tuple[str, ...]) -> str:
    """Why the program cannot read its own output again; empty if it can."""
    named = [value for word, value in pairwise(words) if word == "--out"]
    out = Path(named[-1]) if named else None
    if out is None or SHOWS_ONLY & {*words}:
        return ""
    try:
        if words[0] == "plan":
            load_plan(out)
        elif words[:2] == ("kit", "new"):
            load_kit(out)
        elif words[0] == "rehearse":
            Session.open(out / "session.sqlite").close()
    except InputError as error:
        return f"accepted and unusable: {error.sentences[0][:200]}"
    return ""


@contextlib.contextmanager
def copy_of(corpus: Path) -> Iterator[Path]:
    """A copy of the corpus, the current folder meanwhile. The next case gets the same one, restored."""
    folder = corpus.with_name(f"{corpus.name}-case")
    if not folder.exists():
        shutil.copytree(corpus, folder, symlinks=True)
    back = Path.cwd()
    os.chdir(folder)
    old = sys.stdin
    sys.stdin = io.StringIO("")
    try:
        yield folder
    finally:
        sys.stdin = old
        os.chdir(back)
        restore(folder, corpus)


def restore(folder: Path, corpus: Path) -> None:
    """Restore what a case changed in its copy of the corpus; remove the copy if that was more than files."""
    sound, found = digests(corpus), digests(folder)
    changed = [name for name in sound | found if sound.get(name) != found.get(name)]
    if any((folder / name).is_dir() or (corpus / name).is_dir() for name in changed) or os.path.lexists(folder / OUT):
        shutil.rmtree(folder)
        return
    for name in changed:
        (folder / name).unlink(missing_ok=True)
        if name in sound:
            shutil.copy2(corpus / name, folder / name)
