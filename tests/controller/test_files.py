"""Where files may be written: existing files are kept, and an unusable place is refused before any work."""

from __future__ import annotations

import contextlib
import errno
import os
import stat
import string
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.errors import StorageFailed
from controller.files import Rewritten, copy_verified, write_new, write_whole
from controller.places import cause_of, must_be_free
from controller.shown import shown


def refusal(path: Path, **more: object) -> str:
    with pytest.raises(StorageFailed) as refused:
        must_be_free(path, **more)  # type: ignore[arg-type]
    assert str(refused.value).endswith(".")
    return str(refused.value)


def test_a_free_place_stays_free(tmp_path: Path) -> None:
    must_be_free(tmp_path / "plan.json")
    must_be_free(tmp_path / "plan.json", replace=True, ours=lambda _: True)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("place", ["taken", "folder", "dangling", "no/folder/here", "taken/below"])
def test_a_place_that_is_not_free_is_kept(tmp_path: Path, place: str) -> None:
    """Nothing is replaced without a request; a folder, or another program's file, not even then."""
    (tmp_path / "taken").write_bytes(b"somebody's")
    (tmp_path / "folder").mkdir()
    (tmp_path / "dangling").symlink_to("nowhere")
    refusal(tmp_path / place)
    refusal(tmp_path / place, ours=lambda _: True)
    refusal(tmp_path / place, replace=True)
    refusal(tmp_path / place, replace=True, ours=lambda _: False)
    assert (tmp_path / "taken").read_bytes() == b"somebody's"
    assert sorted(os.listdir(tmp_path)) == ["dangling", "folder", "taken"]


def test_only_a_file_of_the_same_kind_is_replaced_and_only_when_asked(tmp_path: Path) -> None:
    path = tmp_path / "plan.json"
    path.write_text("a plan", encoding="utf-8")
    must_be_free(path, replace=True, ours=lambda there: there.read_text(encoding="utf-8") == "a plan")
    assert "Add --replace" in refusal(path, ours=lambda _: True)
    assert "Add --replace" not in refusal(path, ours=lambda _: False)


@pytest.mark.parametrize(
    "name", ["", ".", "..", "/", "a\0b", "x" * 300, "ü" * 128, "x" * 256, "/".join(["x" * 200] * 30)]
)
def test_no_name_and_names_that_are_too_long(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """A name may have 255 bytes (NAME_MAX of POSIX limits.h on the usual file systems)."""
    monkeypatch.chdir(tmp_path)
    assert len(refusal(Path(name))) < 200
    assert list(tmp_path.iterdir()) == []


@given(name=st.text(string.printable + "üß°\0", max_size=300))
@settings(max_examples=200)
def test_whatever_is_called_free_can_be_written(tmp_path_factory: pytest.TempPathFactory, name: str) -> None:
    """Any other name ends in one sentence, never in a traceback."""
    folder = tmp_path_factory.getbasetemp() / "any"
    folder.mkdir(exist_ok=True)
    path = folder / name.lstrip("/").replace("..", "")
    try:
        must_be_free(path)
    except StorageFailed:
        return
    path.write_text("a plan", encoding="utf-8")
    path.unlink()


@given(content=st.binary(max_size=300), old=st.none() | st.binary(max_size=300))
@settings(max_examples=30)
def test_a_write_that_fails_anywhere_changes_nothing(
    tmp_path_factory: pytest.TempPathFactory, content: bytes, old: bytes | None
) -> None:
    """The disk fills up at every call of the system in turn."""
    folder = tmp_path_factory.mktemp("full")
    path = folder / "kept"
    if old is not None:
        path.write_bytes(old)
    for name in ("link", "replace", "fsync", "chmod"):
        with pytest.MonkeyPatch.context() as patch:
            calls = list[str]()

            def full(*_: object, name: str = name, calls: list[str] = calls, **__: object) -> None:
                calls.append(name)
                raise OSError(errno.ENOSPC, "No space left on device")

            patch.setattr(os, name, full)
            with contextlib.suppress(StorageFailed):
                write_whole(path, content, replace=True, ours=lambda there: there.read_bytes() == old, durably=True)
            if calls and (name != "link" or not path.exists()):
                assert [path.read_bytes() for path in folder.iterdir()] == ([] if old is None else [old])
            elif path.exists():
                assert path.read_bytes() == content
                path.unlink()
                if old is not None:
                    path.write_bytes(old)


def synced(monkeypatch: pytest.MonkeyPatch, target: Path) -> list[tuple[bytes, bool]]:
    """The flushes to the disk: the content of each file by then, and whether `target` existed already."""
    flushed: list[tuple[bytes, bool]] = []

    def fsync(number: int) -> None:
        flushed.append((Path(f"/proc/self/fd/{number}").read_bytes(), target.exists()))

    monkeypatch.setattr(os, "fsync", fsync)
    return flushed


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="this system does not show open files")
@pytest.mark.parametrize("old", [None, b"old"])
def test_what_is_written_durably_is_on_the_disk_before_it_takes_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, old: bytes | None
) -> None:
    """Otherwise a power cut could leave an empty file in the place of the old one."""
    path = tmp_path / "kept"
    if old is not None:
        path.write_bytes(old)
    flushed = synced(monkeypatch, path)
    if old is None:
        write_new(path, b"all of it")
    else:
        write_whole(path, b"all of it", replace=True, ours=lambda _: True, durably=True)
    assert flushed == [(b"all of it", old is not None)]
    assert path.read_bytes() == b"all of it"
    write_whole(tmp_path / "passing", b"not worth the wait", durably=False)
    assert len(flushed) == 1


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="this system does not show open files")
def test_a_copy_is_on_the_disk_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The card may be wiped once its files are copied."""
    content = bytes(range(256)) * 9000
    (tmp_path / "source").write_bytes(content)
    flushed = synced(monkeypatch, tmp_path / "copy")
    copy_verified(tmp_path / "source", tmp_path / "copy")
    assert flushed == [(content, True)]


def test_a_disk_that_is_really_full(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Refused before writing, by the free space; if that changes meanwhile, nothing is left behind."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(disk)]
    if os.geteuid() != 0 or subprocess.run(mount, check=False, capture_output=True, timeout=20).returncode:
        pytest.skip("only root can make a small disk")
    try:
        with pytest.raises(StorageFailed, match=r"needs 100 kB, and its disk has 66 kB free\. Free some space"):
            write_new(disk / "kept", bytes(100_000))
        monkeypatch.setattr("controller.places.must_have_room", lambda *_: None)
        works: tuple[Callable[[], None], ...] = (
            lambda: write_new(disk / "kept", bytes(100_000)),
            lambda: copy_verified(Path(__file__), disk / "kept"),
        )
        for work in works:
            (disk / "mine").write_bytes(bytes(60_000))
            with pytest.raises(StorageFailed, match="the disk is full"):
                work()
            (disk / "kept").unlink(missing_ok=True)  # of a copy, the whole new folder is removed
            assert os.listdir(disk) == ["mine"]
    finally:
        subprocess.run(["umount", str(disk)], check=True, timeout=20)


def test_the_file_beside_it_is_nobody_elses(tmp_path: Path) -> None:
    """An unfinished file has a unique name, and the permissions of any new file, or of the old one."""
    (tmp_path / "kept.part").write_bytes(b"mine")
    write_new(tmp_path / "kept", b"one")
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"kept": b"one", "kept.part": b"mine"}
    (tmp_path / "plain").touch()
    assert (tmp_path / "kept").stat().st_mode == (tmp_path / "plain").stat().st_mode
    (tmp_path / "kept").chmod(0o640)
    write_whole(tmp_path / "kept", b"two", replace=True, ours=lambda _: True)
    assert stat.S_IMODE((tmp_path / "kept").stat().st_mode) == 0o640


def test_a_file_written_again_and_again_is_given_up_to_whoever_else_writes_it(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    file = Rewritten(path)
    for text in ("one", "two", "three"):
        file.write(text)
        assert path.read_text() == text
    path.write_text("mine")
    with pytest.raises(StorageFailed, match="is kept"):
        file.write("four")
    assert path.read_text() == "mine"
    with pytest.raises(StorageFailed, match="exists already"):
        Rewritten(path).write("five")
    assert os.listdir(tmp_path) == ["kept"]


def test_a_copy_is_the_same_with_its_times(tmp_path: Path) -> None:
    source = tmp_path / "source"
    source.write_bytes(bytes(range(256)) * 5000)
    os.utime(source, ns=(1, 10**18))
    copy_verified(source, tmp_path / "copy")
    assert (tmp_path / "copy").read_bytes() == source.read_bytes()
    assert (tmp_path / "copy").stat().st_mtime_ns == 10**18


def test_a_copy_that_is_not_the_same_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "source").write_bytes(b"a picture")

    def spoil(_: Path, target: Path) -> None:
        target.write_bytes(b"a pigture")

    monkeypatch.setattr("shutil.copystat", spoil)
    with pytest.raises(StorageFailed, match="not the same"):
        copy_verified(tmp_path / "source", tmp_path / "copy")


def test_only_a_file_is_copied(tmp_path: Path) -> None:
    """Even if it has changed since it was checked: a pipe is not waited for, a link not followed."""
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "file").touch()
    (tmp_path / "link").symlink_to("file")
    for name in ("pipe", "link"):
        with pytest.raises(StorageFailed):
            copy_verified(tmp_path / name, tmp_path / "copy")
        assert not (tmp_path / "copy").exists()


@given(name=st.text(max_size=400))
def test_a_name_in_a_sentence_can_be_printed(name: str) -> None:
    assert shown(name).isprintable()
    assert len(shown(name)) <= 203


@pytest.mark.parametrize("number", sorted(errno.errorcode))
def test_no_number_and_no_word_of_the_system_is_in_a_cause(number: int) -> None:
    cause = cause_of(OSError(number, os.strerror(number)))
    assert errno.errorcode[number] not in cause
    assert str(number) not in cause


@pytest.mark.skipif(os.name == "nt", reason="no permissions of this kind")
@pytest.mark.parametrize("before", [None, 0o600, 0o644, 0o666])
def test_a_private_file_is_for_its_owner_alone_whatever_was_there(tmp_path: Path, before: int | None) -> None:
    path = tmp_path / "private.json"
    if before is not None:
        path.write_text("old")
        path.chmod(before)
    write_whole(path, "new", replace=True, ours=lambda _: True, private=True)
    assert path.read_text() == "new"
    assert path.stat().st_mode & 0o777 == 0o600
    assert [each.name for each in tmp_path.iterdir()] == ["private.json"]
