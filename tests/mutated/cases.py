"""Cases: one file or option spoilt, one command that reads it, and what must be so whatever it says."""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import shutil
import signal
import sys
import tomllib
import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from random import Random
from types import FrameType

import click

from controller.cli import cli
from controller.errors import InputError
from controller.kit.load import load_kit
from controller.planning.plan import load_plan
from controller.session.session import Session
from tests.mutated import spoiling
from tests.mutated.corpus import run

MOST_WORK_S = 10.0
OUT = "out"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What came of a case: `fault` is empty if all was as it must be."""

    fault: str
    words: tuple[str, ...]
    status: int
    said: str
    told: str = ""


@dataclass(frozen=True, slots=True)
class Subject:
    """A file of the corpus, how to spoil it, and the commands that read it."""

    file: str
    spoil: Callable[[Path, Random], None]
    commands: tuple[tuple[str, ...], ...]


def _by_bytes(path: Path, chance: Random) -> None:
    path.write_bytes(chance.choice(spoiling.BYTES)(path.read_bytes(), chance))


def _toml(path: Path, chance: Random) -> None:
    if chance.random() < 0.2:
        _by_bytes(path, chance)
        return
    text = spoiling.as_toml(spoiling.spoilt_tree(tomllib.loads(path.read_text()), chance))
    path.write_bytes(text.encode("utf-8", "surrogatepass"))


def _json(path: Path, chance: Random) -> None:
    if chance.random() < 0.2:
        _by_bytes(path, chance)
        return
    spoilt = spoiling.spoilt_tree(json.loads(path.read_text()), chance)
    path.write_text(json.dumps(spoilt))


def _csv(path: Path, chance: Random) -> None:
    if chance.random() < 0.2:
        _by_bytes(path, chance)
        return
    path.write_bytes(spoiling.spoilt_csv(path.read_text(), chance).encode("utf-8", "surrogatepass"))


def _session(path: Path, chance: Random) -> None:
    if chance.random() < 0.5:
        _by_bytes(path, chance)
    else:
        spoiling.spoil_database(path, chance)


def _card(folder: Path, chance: Random) -> None:
    """One picture spoilt in its first bytes, where EXIF is; sometimes another name or no file at all."""
    path = chance.choice(sorted(folder.iterdir()))
    content = bytearray(path.read_bytes())
    how = chance.randrange(8)
    if how == 0:
        path.unlink()
        path.symlink_to(folder / "gone")
    elif how == 1:
        path.rename(folder / chance.choice(("x" * 240 + ".JPG", "é\n.JPG", "FT.JPG", "=1.JPG", "-x.JPG")))
    elif how == 2:
        path.unlink()
        path.mkdir()
    elif how == 3:
        path.unlink()
        os.mkfifo(path)
    else:
        for _ in range(chance.choice((1, 4, 20))):
            content[chance.randrange(min(len(content), 3000))] = chance.randrange(256)
        path.write_bytes(content)


SUBJECTS: tuple[Subject, ...] = (
    Subject(
        "kit.toml",
        _toml,
        (
            ("plan", "kit.toml", "--out", OUT),
            ("kit", "check", "kit.toml"),
            ("plan", "kit.toml", "--out", OUT, "--region", "single-row"),
        ),
    ),
    Subject("plan.json", _json, (("rehearse", "plan.json", "--out", OUT),)),
    Subject(
        "session.sqlite",
        _session,
        (
            ("report", "session.sqlite", "--out", OUT),
            ("match", "session.sqlite", "card"),
            ("tell", "session.sqlite", "retake", "1"),
        ),
    ),
    Subject("faults.toml", _toml, (("rehearse", "plan.json", "--out", OUT, "--faults", "faults.toml"),)),
    Subject(
        "kit.calibration.json",
        _json,
        (
            ("calibrate", "list", "kit.toml"),
            ("kit", "check", "kit.toml"),
            ("plan", "kit.toml", "--out", OUT, "--region", "single-row"),
        ),
    ),
    Subject("level.csv", _csv, (("calibrate", "level", "--from", "level.csv"),)),
    Subject("steps.csv", _csv, (("calibrate", "steps", "--axis", "pan", "--from", "steps.csv"),)),
    Subject("backlash.csv", _csv, (("calibrate", "backlash", "--axis", "pan", "--from", "backlash.csv"),)),
    Subject("card", _card, (("match", "session.sqlite", "card", "--out", OUT),)),
)
WRITTEN = {"tell": {"session.sqlite"}}
"""Files of the corpus that a command may change."""


def digests(folder: Path) -> dict[str, str]:
    """A digest of everything in the folder but what a case writes."""
    found = {}
    for path in sorted(folder.rglob("*")):
        name = str(path.relative_to(folder))
        if name == OUT or name.startswith(f"{OUT}/"):
            continue
        if path.is_symlink():
            found[name] = f"link to {os.readlink(path)}"
        elif path.is_file():
            found[name] = hashlib.sha256(path.read_bytes()).hexdigest()
        else:
            found[name] = "something else"
    return found


class _HangError(BaseException):
    """A case worked for longer than it may."""


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


def judge(words: tuple[str, ...], folder: Path) -> Verdict:
    """Run the command in `folder`, the current one, and judge what it did."""
    before = digests(folder)
    out, err = io.StringIO(), io.StringIO()
    fault, told, status = "", "", -1
    try:
        with _bounded(), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            status = run(*words)
    except _HangError as hang:
        fault, told = f"hang: {hang}", traceback.format_exc()
    except BaseException as error:  # whatever escapes is the fault that is looked for
        fault, told = f"traceback: {type(error).__name__}: {str(error)[:120]}", traceback.format_exc()
    said = err.getvalue()
    if not fault and "Traceback" in said:
        fault = "traceback on stderr"
    changed = {name for name, digest in before.items() if digests(folder).get(name) != digest}
    if changed - WRITTEN.get(words[0], set()):
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
        if any("Errno" in line or "0x" in line or "object at" in line for line in lines):
            return "a library's words"
        if max(len(line) for line in lines) > 700:
            return f"a line of {max(len(line) for line in lines)} characters"
    return ""


def _unusable(words: tuple[str, ...]) -> str:
    """Why what was written cannot be read again by the program itself; empty if it can."""
    try:
        if words[0] == "plan":
            load_plan(Path(OUT))
        elif words[:2] == ("kit", "new"):
            load_kit(Path(OUT))
        elif words[0] == "rehearse":
            Session.open(Path(OUT) / "session.sqlite").close()
    except InputError as error:
        return f"accepted and unusable: {error.sentences[0][:200]}"
    return ""


def spoilt_file(corpus: Path, seed: int) -> Verdict:
    """One case: a fresh copy of the corpus with one file spoilt, and a command that reads it."""
    chance = Random(seed)
    subject = chance.choice(SUBJECTS)
    with _copy_of(corpus) as folder:
        subject.spoil(folder / subject.file, chance)
        return judge(chance.choice(subject.commands), folder)


VALUES = (
    "",
    "0",
    "-1",
    "nan",
    "inf",
    "-inf",
    "1e308",
    "1e-308",
    "9" * 400,
    "1_0",
    "0,3",
    "30%",
    "x",
    "é",
    "-",
    "--",
    "a\nb",
    "x" * 300,
    "nowhere/x",
    ".",
    "kit.toml",
    "plan.json",
    "session.sqlite",
    "card",
    "9999-12-31T23:59:59+00:00",
    "0001-01-01T00:00:00+14:00",
    "999999999h",
    "1h",
    "5s",
    "pan",
    "tilt",
    "1",
    "2",
    "0.5",
    "10",
    "[::1]:0",
    "host:99999",
    "socket://x",
    "a,b",
    "1,2",
    OUT,
)
NEVER = {("simulate",), ("board",), ("capture",), ("resume",), ("jog",), ("kit", "setup"), ("completion",)}
"""Commands that talk to a port, or wait for somebody."""


def leaf_commands(
    group: click.Group = cli, name: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    """All commands that do something, with their words."""
    for word, command in sorted(group.commands.items()):
        words = (*name, word)
        if any(words[: len(never)] == never for never in NEVER):
            continue
        if isinstance(command, click.Group):
            yield from leaf_commands(command, words)
        else:
            yield words, command


def spoilt_options(corpus: Path, seed: int) -> Verdict:
    """One case: a command with options of its own and values of any kind."""
    chance = Random(seed)
    words, command = chance.choice(list(leaf_commands()))
    with _copy_of(corpus) as folder:
        return judge((*words, *_options(command, chance)), folder)


def _options(command: click.Command, chance: Random) -> list[str]:
    given: list[str] = []
    for parameter in command.params:
        if isinstance(parameter, click.Argument):
            given += [chance.choice(("kit.toml", "plan.json", "session.sqlite", "card", chance.choice(VALUES)))]
            continue
        assert isinstance(parameter, click.Option)
        if parameter.is_eager or "--port" in parameter.opts or "--effort" in parameter.opts:
            continue
        if not parameter.required and chance.random() > 2 / len(command.params):
            continue
        given.append(chance.choice(parameter.opts))
        if not parameter.is_flag:
            given += [_value_for(parameter, chance) for _ in range(parameter.nargs)]
    return given


def _value_for(parameter: click.Option, chance: Random) -> str:
    if isinstance(parameter.type, click.Choice) and chance.random() < 0.7:
        return str(chance.choice(parameter.type.choices))
    if isinstance(parameter.type, click.Path) and chance.random() < 0.5:
        return OUT if "--out" in parameter.opts else chance.choice(("kit.toml", "level.csv", "steps.csv", "card"))
    return chance.choice(VALUES)


@contextlib.contextmanager
def _copy_of(corpus: Path) -> Iterator[Path]:
    folder = corpus.with_name(f"{corpus.name}-case")
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
        shutil.rmtree(folder, ignore_errors=True)
