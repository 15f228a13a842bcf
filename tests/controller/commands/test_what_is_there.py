"""Whatever is at a command's output path is left alone, unless it is the command's own and --replace was given.

An enumeration: every command that writes, and everything that may be there, directly or through a link. The digest of the
whole folder is compared.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import shutil
import socket
import stat
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from controller.session.session import Session
from tests.mutated.corpus import make_corpus, run

pytestmark = pytest.mark.usefixtures("undrawn")
PLAN = ("plan", "kit.toml", "--region", "single-row", "--overlap", "0.2", "--out", "OUT")
CAPTURE = ("capture", "plan.json", "--port", "no-such-port", "--yes")
KIT_NEW = ("kit", "new", "--camera", "Nikon D750", "--focal-length-mm", "20", "--pixels", "6016x4016", "--out", "OUT")
LEVEL = ("calibrate", "level", "--from", "level.csv")
# For each command, the thing of its own that --replace may replace; "" if there is none.
COMMANDS: dict[tuple[str, ...], str] = {
    PLAN: "plan",
    KIT_NEW: "",
    ("kit", "from-picture", "card/FULL0001.JPG", "--out", "OUT"): "",
    (*LEVEL, "--page", "OUT"): "page",
    ("rehearse", "plan.json", "--out", "OUT"): "rehearsal",
    ("rehearse", "plan.json", "--out", "new", "--pictures", "OUT"): "",
    ("report", "capture.sqlite", "--out", "OUT"): "report",
    ("match", "capture.sqlite", "card", "--out", "OUT"): "",
    ("simulate", "--kit", "kit.toml", "--truth", "OUT"): "truth",
    ("simulate", "--kit", "kit.toml", "--port-name", "OUT"): "",
    (*CAPTURE, "--out", "OUT"): "",
    (*CAPTURE, "--out", "new.sqlite", "--log", "OUT"): "log",
    ("resume", "capture.sqlite", "--port", "no-such-port", "--yes", "--log", "OUT"): "log",
    (*LEVEL, "--kit", "other.toml"): "records",  # writes other.calibration.json
    ("kit", "setup", "other.toml", "--done", "level"): "progress",  # writes other.setup.json
}
REPLACING = {"plan", "page", "rehearsal", "report"}
"""Own things of commands that have --replace."""
UNASKED = {"truth", "log", "records", "progress"}
"""Own things that are continued instead: not tried here."""


def things(folder: Path) -> None:
    """Create one of everything in `folder`."""
    folder.mkdir()
    shutil.copy("kit.toml", folder / "kit")
    shutil.copy("plan.json", folder / "plan")
    (folder / "edited-plan").write_text(Path("plan.json").read_text().replace("0.2", "0.3", 1))
    shutil.copy("plan.json", folder / "protected-plan")
    (folder / "protected-plan").chmod(0o444)
    shutil.copy("capture.sqlite", folder / "session")
    shutil.copy("run/session.sqlite", folder / "rehearsed-session")
    shutil.copy("card/FULL0001.JPG", folder / "photograph")
    (folder / "text").write_text("my diary\n")
    (folder / "empty").touch()
    assert run(*LEVEL, "--page", str(folder / "page")) == 0
    shutil.copy("run/truth.json", folder / "truth")
    shutil.copy("kit.calibration.json", folder / "records")
    (folder / "log").write_text('{"at": "2026-06-21T05:30:00Z", "at_s": null, "run": "begins"}\n')
    (folder / "full-folder").mkdir()
    (folder / "full-folder" / "mine.txt").write_text("mine\n")
    shutil.copytree("run", folder / "rehearsal")
    shutil.copytree("run", folder / "captured-folder")
    shutil.copy("capture.sqlite", folder / "captured-folder" / "session.sqlite")
    shutil.copytree("run", folder / "linked-folder")
    (folder / "linked-folder" / "report.html").unlink()
    (folder / "linked-folder" / "report.html").symlink_to(Path("page").absolute())
    assert run("report", "capture.sqlite", "--out", str(folder / "report")) in {0, 1}
    os.mkfifo(folder / "pipe")
    with socket.socket(socket.AF_UNIX) as made:
        made.bind(os.path.relpath(folder / "socket"))
    with contextlib.suppress(PermissionError):  # only root creates devices; this one discards what is written to it
        os.mknod(folder / "device", stat.S_IFCHR | 0o600, os.makedev(1, 3))


DEVICES = ["device"] if os.name == "posix" and os.geteuid() == 0 else []
THINGS = (
    "kit", "plan", "edited-plan", "protected-plan", "session", "rehearsed-session", "photograph", "text", "empty", "page",
    "truth", "records", "log", "full-folder", "rehearsal", "captured-folder", "linked-folder", "report", "pipe", "socket",
    *DEVICES,
)  # fmt: skip


@pytest.fixture(scope="module")
def corpus(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder, back = tmp_path_factory.mktemp("there"), Path.cwd()
    os.chdir(folder)
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        make_corpus(folder)
        shutil.copy("kit.toml", "other.toml")
        shutil.copy("session.sqlite", "capture.sqlite")
        with Session.open(Path("capture.sqlite"), to_write=True) as session:
            session.note_about("kind", "capture")
        things(folder / "things")
    yield folder
    os.chdir(back)


def digest(folder: Path) -> dict[str, str]:
    """The kind of everything in the folder, with its content."""
    found = {}
    for path in sorted(folder.rglob("*")):
        about = path.lstat()
        what = f"{stat.S_IFMT(about.st_mode):o} {stat.S_IMODE(about.st_mode):o}"
        if path.is_symlink():
            what += f" {os.readlink(path)}"
        elif stat.S_ISREG(about.st_mode):
            what += f" {hashlib.sha256(path.read_bytes()).hexdigest()}"
        found[str(path.relative_to(folder))] = what
    return found


def tried(words: tuple[str, ...], place: str) -> tuple[int, str]:
    """The exit status, and the text on stderr."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = run(*(place if word == "OUT" else word for word in words))
    return status, err.getvalue()


def place_of(words: tuple[str, ...]) -> str:
    """The path to which a command writes."""
    own = COMMANDS[words]
    return {"records": "other.calibration.json", "progress": "other.setup.json"}.get(own, "place")


def put(place: Path, how: str) -> None:
    """Put something at the place: the thing itself (`clear` moves it back), or a link to it."""
    kind, _, name = how.partition(" ")
    if kind == "link":
        place.symlink_to(Path("things") / name)
    elif kind == "dangling":
        place.symlink_to("nowhere")
    elif kind == "loop":
        place.symlink_to(place.name)
    else:
        (Path("things") / name).rename(place)


def clear(place: Path, how: str) -> None:
    kind, _, name = how.partition(" ")
    if kind == "thing":
        place.rename(Path("things") / name)
    else:
        place.unlink()


HOW = [*(f"{kind} {name}" for kind in ("thing", "link") for name in THINGS), "dangling ", "loop "]


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_what_is_there_is_kept(corpus: Path, words: tuple[str, ...]) -> None:
    own, place = COMMANDS[words], Path(place_of(words))
    for how in HOW:
        name = how.partition(" ")[2]
        if name == own and own in UNASKED:
            continue
        put(place, how)
        try:
            before = digest(corpus)
            for more in ((), ("--replace",)) if own in REPLACING else ((),):
                if more and name == own:
                    continue
                status, said = tried((*words, *more), str(place))
                assert status in {1, 2}, f"{how}: {words} ended with {status}"
                assert digest(corpus) == before, f"{how}: {words}"
                lines = said.splitlines()
                assert len(lines) == 1 or lines[0].startswith("Usage"), said
                assert str(place) in lines[-1] or "place" in said, said
                assert "Errno" not in said
        finally:
            clear(place, how)


@pytest.mark.parametrize("words", [words for words, own in COMMANDS.items() if own in REPLACING], ids=" ".join)
@pytest.mark.parametrize("kind", ["thing", "link"])
def test_its_own_is_replaced_when_asked_for_and_nothing_else_is(corpus: Path, words: tuple[str, ...], kind: str) -> None:
    """It is written through a link: the link stays, and its target is replaced."""
    own, place = COMMANDS[words], Path("place")
    how = f"{kind} {own}"
    put(place, how)
    inode = _inodes(place)
    try:
        before = digest(corpus)
        status, said = tried((*words, "--replace"), "place")
        assert status in {0, 1}, said
        assert _inodes(place) != inode, said
        after = digest(corpus)
        assert after.keys() == before.keys()
        written = str(Path("things") / own) if kind == "link" else "place"
        changed = {name for name in after if after[name] != before[name]}
        assert {Path(name).parts[: len(Path(written).parts)] for name in changed} <= {Path(written).parts}
        assert place.is_symlink() == (kind == "link")
    finally:
        clear(place, how)


def _inodes(place: Path) -> set[int]:
    files = [place, *place.iterdir()] if place.is_dir() else [place]
    return {path.stat().st_ino for path in files if path.is_file()}


NAMES: dict[str, Callable[[], str]] = {
    "nothing": lambda: "",
    "too long": lambda: "x" * 256,
    "too long in bytes": lambda: "ü" * 128,
    "no folder": lambda: "kit.toml/place",
    "a terminal's orders": lambda: "kit.toml/\x1b[2J\nplace",
    "no UTF-8": lambda: os.fsdecode(b"kit.toml/\xff"),
}


@pytest.mark.parametrize("words", [words for words in COMMANDS if "OUT" in words], ids=" ".join)
def test_a_place_that_cannot_be_is_refused_in_one_sentence(corpus: Path, words: tuple[str, ...]) -> None:
    before = digest(corpus)
    for what, name in NAMES.items():
        status, said = tried(words, name())
        assert status in {1, 2}, what
        (line,) = [line for line in said.splitlines() if line and not line.startswith(("Usage", "Try"))]
        assert line.isprintable(), line
        assert line.endswith("."), line
        assert "Errno" not in line
        assert len(line) < 400
    assert digest(corpus) == before


@pytest.mark.parametrize("words", [words for words in COMMANDS if "OUT" in words], ids=" ".join)
def test_a_folder_that_cannot_be_written_is_refused_before_the_work(
    corpus: Path, words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Root may write anywhere, so the system's answer is simulated."""
    if "--port-name" in words:
        pytest.skip("a link is made at once")
    before = digest(corpus)
    monkeypatch.setattr("controller.places.os.access", lambda _, mode, **__: not mode & os.W_OK)
    status, said = tried(words, "place")
    assert status == 1
    assert "cannot be written to" in said
    assert digest(corpus) == before
