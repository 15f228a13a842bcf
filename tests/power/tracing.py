"""What a program asks of the file system, recorded by strace(1): every write, sync, name and removal under a folder."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

CALLS = (
    "openat,open,creat,close,write,pwrite64,writev,pwritev,lseek,ftruncate,fsync,fdatasync,rename,renameat,renameat2,"
    "link,linkat,symlink,symlinkat,unlink,unlinkat,mkdir,mkdirat,rmdir,newfstatat,stat,fallocate,dup,dup2,dup3"
)
ACK = "/acknowledged/"
"""A path that no file has; looking at it notes that something has returned."""
UNKNOWN = {"writev", "pwritev", "fallocate", "dup", "dup2", "dup3", "symlink", "symlinkat"}
LONGEST = 1 << 22  # bytes of a write in the record


@dataclass(frozen=True)
class Step:
    """One call: what it does, the paths, relative to the folder, and its data, place or length."""

    does: str
    path: str
    other: str = ""
    data: bytes = b""
    at: int = 0


def needs_strace() -> str:
    """The tool; the test is left out without it, and fails where CI is set."""
    tool = shutil.which("strace")
    if tool is None:
        lack = "strace records what is written: apt-get install strace"
        (pytest.fail if os.environ.get("CI") else pytest.skip)(lack)
    return tool


def recorded(work: str, folder: Path, record: Path) -> list[Step]:
    """The steps of a Python text that runs with `folder` as its working directory, which is empty before."""
    words = [needs_strace(), "-o", str(record), "-e", f"trace={CALLS}", "-xx", "-s", str(LONGEST)]
    program = [sys.executable, "-B", "-c", f"import os\ndef ack(n): os.path.exists(f'{ACK}{{n}}')\n{work}"]
    here = os.environ | {"PYTHONPATH": str(Path(__file__).resolve().parents[2])}
    subprocess.run([*words, *program], cwd=folder, check=True, env=here, stdout=subprocess.DEVNULL)
    return list(_steps(record.read_text(encoding="ascii"), os.path.realpath(folder)))


def _steps(text: str, root: str) -> Iterator[Step]:
    files: dict[int, str] = {}
    places: dict[int, int] = {}
    for line in text.splitlines():
        found = re.fullmatch(r"(\w+)\((.*)\)\s+= (-?\d+)(?: .*)?", line)
        if found is None:
            continue
        call, inside, result = found[1], found[2], int(found[3])
        texts = [bytes.fromhex(each.replace("\\x", "")) for each in re.findall(r'"((?:\\x[0-9a-f]{2})*)"', inside)]
        first = texts[0].decode(errors="replace") if texts else ""
        if first.startswith(ACK) and call in {"newfstatat", "stat"}:
            yield Step("ack", first.removeprefix(ACK))
        if result < 0 or call in {"newfstatat", "stat"}:
            continue
        paths = [_inside(each.decode(errors="replace"), root) for each in texts]
        number = int(inside.split(",")[0]) if inside.split(",")[0].isdecimal() else -1
        if call in {"openat", "open", "creat"}:
            if paths[0] is not None:
                files[result], places[result] = paths[0], 0
                if "O_CREAT" in inside:
                    yield Step("create", paths[0])
                if "O_TRUNC" in inside:
                    yield Step("truncate", paths[0])
                assert "O_APPEND" not in inside
        elif number in files:
            yield from _of_file(call, files[number], number, inside, texts, result, places)
            if call == "close":
                del files[number]
        elif paths and any(each is not None for each in paths):
            assert call not in UNKNOWN, line
            name = {
                "renameat": "rename",
                "renameat2": "rename",
                "linkat": "link",
                "unlinkat": "unlink",
                "mkdirat": "mkdir",
            }
            does = "rmdir" if "AT_REMOVEDIR" in inside else name.get(call, call)
            yield Step(does, paths[0] or "", (paths[1] or "") if len(paths) > 1 else "")


def _of_file(
    call: str, path: str, number: int, inside: str, texts: list[bytes], result: int, places: dict[int, int]
) -> Iterator[Step]:
    """The steps of a call to an open file."""
    assert call not in UNKNOWN, call
    if call == "write":
        yield Step("write", path, data=texts[0][:result], at=places[number])
        places[number] += result
    elif call == "pwrite64":
        yield Step("write", path, data=texts[0][:result], at=int(inside.rsplit(",", 1)[1]))
    elif call == "lseek":
        places[number] = result
    elif call == "ftruncate":
        yield Step("truncate", path, at=int(inside.rsplit(",", 1)[1]))
    elif call in {"fsync", "fdatasync"}:
        yield Step("sync", path)


def _inside(path: str, root: str) -> str | None:
    """The path relative to the folder; None if it is elsewhere."""
    full = os.path.normpath(os.path.join(root, path))
    return os.path.relpath(full, root) if full == root or full.startswith(f"{root}/") else None
