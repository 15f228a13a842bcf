"""The folder and name of each file when the card is sorted by frame or by row."""

import os
import stat
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import Any

from controller.files import copy_verified, link_to, write_new
from controller.folders import make_inner_folder
from controller.matching.matched import Matched
from controller.matching.pose_columns import commanded_values
from controller.matching.sidecar import sidecar
from controller.matching.table import (
    MatchLine,
    MatchVerdict,
)
from controller.places import LONGEST_NAME
from controller.planning.plan import Frame
from controller.system.file_names import acceptable_name


@dataclass(frozen=True, slots=True)
class Placed:
    """One file to copy or link: its source, its place in the new folder, and its line."""

    source: Path
    target: PurePosixPath
    line: MatchLine


def placed(lines: Sequence[MatchLine], folder: Path, frames: Iterable[Frame], by: str) -> list[Placed]:
    """All files to use, with other files of the same shot, in a folder for each `frame` or `row`.

    If the plan has several passes, each has a folder of its own around these. Names contain row, frame, pose and
    exposure, then a mark of doubt if needed, then the file's own name.
    """
    known = {frame.id: frame for frame in frames}
    several = any(frame.pass_number > 1 for frame in known.values())
    wide = max(3, len(str(max(known, default=0))))
    found = []
    for line in lines:
        if not line.use or line.file is None or line.frame is None or line.exposure is None:
            continue
        frame = known[line.frame]
        which = f"frame-{frame.id:0{wide}}"
        shot = f"exposure-{line.exposure}" + ("_doubtful" if line.verdict is MatchVerdict.DOUBTFUL else "")
        if by == "row":
            place = PurePosixPath(f"row-{frame.row:02}_pitch{frame.pitch_deg:+05.1f}", f"{which}_{shot}")
        else:
            place = PurePosixPath(f"{which}_yaw{frame.yaw_deg:+06.1f}_pitch{frame.pitch_deg:+05.1f}", shot)
        place = PurePosixPath(f"pass-{frame.pass_number}") / place if several else place
        for name in (line.file, *line.also):
            found.append(
                Placed(folder / name, place.with_name(_fitting(f"{place.name}_", PurePosixPath(name).name)), line)
            )
    return found


def _fitting(begin: str, name: str) -> str:
    """A valid file name with its ending kept; the middle of a long one is left out."""
    room = LONGEST_NAME - len(os.fsencode(begin))
    whole = os.fsencode(acceptable_name(name))
    if len(whole) > room:
        half = room // 2
        whole = (whole[: half - 2].decode("utf-8", "ignore") + "~" + whole[-half:].decode("utf-8", "ignore")).encode()
    return begin + os.fsdecode(whole)


def unfit(source: Path, folder: Path) -> str | None:
    """Why a file of the card is not copied ("is ..."), or None if it is. Only regular files inside `folder` are
    copied.
    """
    try:
        about, real = source.stat(), source.resolve(strict=True)
    except (OSError, RuntimeError):
        return "cannot be read"
    if not stat.S_ISREG(about.st_mode):
        return "is no file but a folder, a pipe or a device"
    if not real.is_relative_to(folder.resolve()):
        return "is a link to a file that is not on the card"
    return None


def sort_files(
    files: Sequence[Placed],
    folder: Path,
    matched: Matched,
    *,
    link: bool,
    xmp: bool,
    measured: Mapping[str, Mapping[str, Any]] | None = None,
) -> None:
    """Copy or link the files into `folder`, with `xmp` each with its sidecar. Raises StorageFailed.

    `measured` are the columns of a sidecar by file, where more is known than `match` knows.
    """
    described: set[Path] = set()  # a raw file and its JPEG have one sidecar
    for one in files:
        target = folder / one.target
        make_inner_folder(target.parent)
        if link:
            link_to(one.source.resolve(), target)
        else:
            copy_verified(one.source.resolve(), target)
        beside = target.with_suffix(".xmp")
        if xmp and beside not in described:
            described.add(beside)
            write_new(beside, sidecar_of(one.line, matched, (measured or {}).get(one.line.file or "")))


def sidecar_of(line: MatchLine, matched: Matched, values: Mapping[str, Any] | None = None) -> str:
    """The sidecar of a line's file. `values` are its columns; None: those that are known without the pictures."""
    if values is None:
        values = commanded_values(line, next(frame for frame in matched.plan.frames if frame.id == line.frame))
    opened = matched.opened_s.get(line.file or "")
    moment = None if opened is None else datetime.fromtimestamp(opened, UTC).isoformat(timespec="seconds")
    label = line.verdict.value if line.verdict is MatchVerdict.DOUBTFUL else None
    return sidecar(values, moment, passes=matched.plan.passes, label=label)
