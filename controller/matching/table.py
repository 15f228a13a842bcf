"""The card, exposure by exposure: a line for each file, and for each exposure without a file."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, field, fields
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import Any, NamedTuple

from controller.csv_text import csv_text
from controller.matching.card import CUT_SHORT, CardFile
from controller.matching.evidence import same_shutter
from controller.matching.pairing import Match, Pairing
from controller.reading import as_text


class MatchVerdict(StrEnum):
    """The result on a line."""

    SURE = "sure"
    DOUBTFUL = "doubtful"
    MISSING = "missing"
    EXTRA = "extra"


class MatchedPose(NamedTuple):
    """The camera's pose in the levelled world, and the angles of the axes (None if shot by hand), in degrees."""

    yaw_deg: float
    pitch_deg: float
    roll_deg: float
    pan_deg: float | None
    tilt_deg: float | None


@dataclass(frozen=True, slots=True)
class Planned:
    """An exposure of the session. `opened_s` is when the shutter opened, `counts` whether it is one to stitch from."""

    frame: int
    exposure: int
    attempt: int
    outcome: str
    opened_s: float
    shutter_s: float
    made: bool
    confirmed: bool
    counts: bool
    pose: MatchedPose | None = None
    pass_number: int = 1
    repeats: int | None = None


@dataclass(slots=True)
class MatchLine:
    """A file with its exposure, an exposure without a file, or a file without an exposure.

    `also` are more files of the same shot. `doubt` is the probability that the file is anything else. `apart_s` is the
    difference between the corrected camera time and the session's. If the camera's bracket was out of step, `exposure` is
    the file's by its shutter time, and `told_as` what the run took it for. `use` marks the one file to stitch from for
    this frame's exposure. Yaw, pitch and roll are the camera's pose as in exposures.csv, pan and tilt the angles of the
    axes; pass and repeated frame also as there.
    """

    verdict: MatchVerdict
    file: str | None = None
    also: list[str] = field(default_factory=list)
    frame: int | None = None
    exposure: int | None = None
    attempt: int | None = None
    outcome: str | None = None
    doubt: float | None = None
    taken: str | None = None
    apart_s: float | None = None
    shutter_s: float | None = None
    planned_shutter_s: float | None = None
    told_as: int | None = None
    use: bool = False
    notes: list[str] = field(default_factory=list)
    yaw_deg: float | None = None
    pitch_deg: float | None = None
    roll_deg: float | None = None
    pan_deg: float | None = None
    tilt_deg: float | None = None
    pass_number: int | None = None
    repeats: int | None = None

    def row(self) -> dict[str, Any]:
        """The line for other programs, with columns as text."""
        also = [as_text(name) for name in self.also]
        return asdict(self) | {"file": None if self.file is None else as_text(self.file), "also": also}


def match_lines(
    files: Sequence[CardFile],
    pairing: Pairing,
    exposures: Sequence[Planned],
    folder: Path,
) -> list[MatchLine]:
    """The lines of files and exposures, in the order of shooting."""
    bracket = {one.exposure: one.shutter_s for one in exposures}
    taken = {match.exposure for match in pairing.matches}
    missing = [number for number, one in enumerate(exposures) if number not in taken and one.made]
    lines: list[MatchLine] = []
    for number in pairing.order:
        match = pairing.matches[number]
        while missing and match.exposure is not None and missing[0] < match.exposure:
            lines.append(_missing(exposures[missing.pop(0)]))
        lines.append(_line(files[number], number, pairing, exposures, bracket, folder))
    lines += [_missing(exposures[number]) for number in missing]
    _choose(lines, {(one.frame, one.exposure, one.attempt) for one in exposures if one.counts})
    return lines


def _line(
    file: CardFile,
    number: int,
    pairing: Pairing,
    exposures: Sequence[Planned],
    bracket: dict[int, float],
    folder: Path,
) -> MatchLine:
    match = pairing.matches[number]
    assert file.taken_s is not None
    line = file_line(file, folder, _verdict(match), match.doubt)
    if match.exposure is not None:
        _add_exposure(line, exposures[match.exposure])
        apart = file.taken_s + pairing.tick_s / 2 - pairing.expected_s[match.exposure]
        line.apart_s = round(apart, 3)
        if pairing.out_of_step(number):
            _by_shutter(line, bracket)
        line.notes += _shutter_notes(line)
    elif match.maybe is not None:
        might = exposures[match.maybe]
        line.notes.append(f"might be frame {might.frame}, exposure {might.exposure}")
    return line


def _missing(exposure: Planned) -> MatchLine:
    line = MatchLine(MatchVerdict.MISSING)
    _add_exposure(line, exposure)
    return line


def file_line(
    file: CardFile, folder: Path, verdict: MatchVerdict = MatchVerdict.EXTRA, doubt: float | None = None
) -> MatchLine:
    """The line of a file that has no known exposure yet."""
    names = [path.relative_to(folder).as_posix() for path in file.paths]
    moment = None if file.taken_s is None else datetime.fromtimestamp(file.taken_s, UTC)
    taken = None if moment is None else moment.isoformat(timespec="milliseconds").removesuffix("+00:00")
    line = MatchLine(verdict, names[0], names[1:], doubt=doubt, shutter_s=file.shutter_s or None)
    line.taken = taken if taken is None or not file.has_zone else taken + "+00:00"
    if file.trouble is not None:
        line.notes.append(file.trouble)
    return line


def _verdict(match: Match) -> MatchVerdict:
    if not match.sure:
        return MatchVerdict.DOUBTFUL
    return MatchVerdict.EXTRA if match.exposure is None else MatchVerdict.SURE


def _add_exposure(line: MatchLine, exposure: Planned) -> None:
    line.frame, line.exposure, line.attempt = exposure.frame, exposure.exposure, exposure.attempt
    line.outcome, line.planned_shutter_s = exposure.outcome, exposure.shutter_s
    line.pass_number, line.repeats = exposure.pass_number, exposure.repeats
    if exposure.pose is not None:
        line.yaw_deg, line.pitch_deg, line.roll_deg, line.pan_deg, line.tilt_deg = exposure.pose


def _by_shutter(line: MatchLine, bracket: dict[int, float]) -> None:
    """Reassign a file to the exposure whose shutter time matches, if the run took it for another."""
    if line.shutter_s is None or not _shutter_notes(line):
        return
    seen = line.shutter_s
    others = [number for number, time in bracket.items() if same_shutter(seen, time)]
    if len(others) == 1:
        line.told_as, line.exposure = line.exposure, others[0]
        line.planned_shutter_s = bracket[others[0]]


def _shutter_notes(line: MatchLine) -> list[str]:
    if line.shutter_s is None or not line.planned_shutter_s:
        return []
    if same_shutter(line.shutter_s, line.planned_shutter_s):
        return []
    return [f"exposed {math.log2(line.shutter_s / line.planned_shutter_s):+.1f} EV from what was planned"]


def _choose(lines: list[MatchLine], counts: set[tuple[int, int, int]]) -> None:
    """Mark the file to use for each frame's exposure: the last that counts, otherwise an unconfirmed one with a file."""
    best: dict[tuple[int, int], tuple[bool, MatchLine]] = {}
    for line in lines:
        if line.file is None or line.frame is None or line.exposure is None or line.attempt is None:
            continue
        if CUT_SHORT in line.notes or line.outcome in {"suspect", "retake"}:
            continue
        told_as = line.exposure if line.told_as is None else line.told_as
        key, counted = (line.frame, line.exposure), (line.frame, told_as, line.attempt) in counts
        if key not in best or counted >= best[key][0]:
            best[key] = (counted, line)
    for _, line in best.values():
        line.use = True


def frames_to_retake(lines: Sequence[MatchLine], made: Iterable[tuple[int, int]]) -> list[int]:
    """Frames with an exposure that was made (frame, number) but has no file to use, or a file with a note against it."""
    used = {(line.frame, line.exposure) for line in lines if line.use}
    spoilt = {line.frame for line in lines if line.use and line.notes and line.frame is not None}
    return sorted({frame for frame, exposure in made if (frame, exposure) not in used} | spoilt)


def lines_csv(lines: Sequence[MatchLine]) -> str:
    """The lines as CSV; lists are joined by semicolons, unknown values are empty."""
    return csv_text((one.name for one in fields(MatchLine)), (line.row().values() for line in lines))
