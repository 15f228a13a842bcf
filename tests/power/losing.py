"""What a power cut may leave: the steps of a record, with any of those lost that nothing had made durable yet.

The model is the weakest that programs are advised to expect (T. S. Pillai et al., All File Systems Are Not Created Equal,
OSDI 2014, section 2): data that no sync has followed may be lost, replaced by zeros, or torn at a sector, in any order. A
name that no sync of its folder has followed may be lost or kept, also in any order, and a name may be there before the
data. A rename is whole. A file's own sync says nothing of its name.
"""

from __future__ import annotations

import posixpath
import random
from dataclasses import dataclass, field
from pathlib import Path

from tests.power.tracing import Step

SECTOR = 512
NAMES = {"create", "link", "unlink", "rename", "mkdir", "rmdir"}


@dataclass
class _File:
    data: bytearray = field(default_factory=bytearray)


def left_by(steps: list[Step], lost: random.Random, keep_data: float, keep_names: float) -> dict[str, bytes | None]:
    """The files, and folders (None), after a power cut behind the last of these steps.

    `keep_data` and `keep_names` are the shares of steps without a sync that reach the disk all the same.
    """
    objects = _objects(steps)
    live: dict[str, _File | None] = {".": None}
    for place, step in enumerate(steps):
        file = objects[place]
        if step.does in NAMES:
            if _is_settled(steps, place) or lost.random() < keep_names:
                _name(live, step, file)
        elif file is not None and step.does in {"write", "truncate"}:
            _reach(file, step, lost, sure=_is_synced(steps, objects, place), keep=keep_data)
    reachable = {path: file for path, file in live.items() if _has_parents(path, live)}
    return {path: None if file is None else bytes(file.data) for path, file in reachable.items() if path != "."}


def _objects(steps: list[Step]) -> list[_File | None]:
    """The file that each step is about, followed through its names; None if it is a folder or a name without a file."""
    now: dict[str, _File | None] = {}
    found: list[_File | None] = []
    for step in steps:
        if step.does == "create" and now.get(step.path) is None:
            now[step.path] = _File()
        file = now.get(step.path)
        found.append(file)
        if step.does in {"link", "rename"}:
            for path in [each for each in now if each == step.path or each.startswith(f"{step.path}/")]:
                now[step.other + path.removeprefix(step.path)] = now[path] if step.does == "link" else now.pop(path)
        elif step.does == "unlink":
            now.pop(step.path, None)
    return found


def _is_synced(steps: list[Step], objects: list[_File | None], place: int) -> bool:
    """Whether a sync of the same file follows."""
    return any(
        step.does == "sync" and objects[place + 1 + n] is objects[place] for n, step in enumerate(steps[place + 1 :])
    )


def _is_settled(steps: list[Step], place: int) -> bool:
    """Whether a sync of the folder follows: for a rename or a link, that of the new name's folder."""
    step = steps[place]
    home = posixpath.dirname(step.other or step.path) or "."
    for later in steps[place + 1 :]:
        if later.does == "sync" and later.path == home:
            return True
        if later.does == "rename" and (home == later.path or home.startswith(f"{later.path}/")):
            home = later.other + home.removeprefix(later.path)  # the folder has another name since
    return False


def _name(live: dict[str, _File | None], step: Step, file: _File | None) -> None:
    if step.does == "create":
        live.setdefault(step.path, file)
    elif step.does == "mkdir":
        live.setdefault(step.path, None)
    elif step.does == "link":
        live[step.other] = file
    elif step.does in {"unlink", "rmdir"}:
        live.pop(step.path, None)
    else:
        for path in [each for each in live if each == step.path or each.startswith(f"{step.path}/")]:
            live[step.other + path.removeprefix(step.path)] = live.pop(path)
        live[step.other] = file  # also if the old name never reached the disk


def _reach(file: _File, step: Step, lost: random.Random, *, sure: bool, keep: float) -> None:
    """Let a write or a truncation reach the file: whole, or what a power cut leaves of it."""
    if step.does == "truncate":
        if sure or lost.random() < keep:
            del file.data[step.at :]
            file.data.extend(bytes(step.at - len(file.data)))
        return
    data = step.data
    if not sure and lost.random() >= keep:
        kind = lost.choice(("lost", "zeros", "torn"))
        if kind == "lost":
            return
        torn = lost.randrange(0, len(data) + 1, SECTOR) if kind == "torn" else 0
        data = data[:torn] if kind == "torn" else bytes(len(data))
    if len(file.data) < step.at:
        file.data.extend(bytes(step.at - len(file.data)))
    file.data[step.at : step.at + len(data)] = data


def _has_parents(path: str, live: dict[str, _File | None]) -> bool:
    home = posixpath.dirname(path) or "."
    return home == "." or (home in live and live[home] is None and _has_parents(home, live))


def written(left: dict[str, bytes | None], folder: Path) -> None:
    """Make a folder of what was left."""
    folder.mkdir()
    for path, content in sorted(left.items()):
        if content is None:
            (folder / path).mkdir(exist_ok=True)
        elif not path.endswith("-shm"):  # without meaning after a restart
            (folder / path).write_bytes(content)
