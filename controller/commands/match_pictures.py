"""`fullturn match --pictures`: what the pictures themselves say of a set, needs the extra fullturn[pictures]."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from controller.calibration.photographs import ENDINGS, camera_for, read_photograph
from controller.calibration.registration import Features, features_of, gradient_power, matched
from controller.calibration.turning import Camera, NoOverlap, turn_between
from controller.commands.match import Matched
from controller.errors import InputError
from controller.matching.checks import (
    Joined,
    bracket_step_ev,
    frames_elsewhere,
    planned_turn,
    soft_frames,
    step_is_off,
)
from controller.matching.evidence import Array
from controller.matching.table import MatchLine, frames_to_retake
from controller.planning.links import ENOUGH, find_links
from controller.planning.plan import Plan
from controller.report.wording import counted

Begin = Callable[[int], Callable[[], None]]


@dataclass(frozen=True, slots=True, eq=False)
class _Looked:
    """One frame as its middle exposure shows it: features, how much detail is around each, and what pixels mean."""

    features: Features
    detail: Array
    camera: Camera


def check_pictures(found: Matched, folder: Path, begin: Begin) -> None:
    """Look at the files to use: add notes to their lines, sentences to `found.checks` and frames to `found.retake`.

    Raises InputError where the library is missing.
    """
    plan = found.plan
    frames: dict[int, dict[int, MatchLine]] = {}
    for line in found.lines:
        if line.use and line.frame is not None and line.exposure is not None:
            frames.setdefault(line.frame, {})[line.exposure] = line
    advance = begin(len(frames))
    looked: dict[int, _Looked] = {}
    middle = _middle(plan.kit.exposure.bracket_ev)
    steps_off = 0
    for frame, lines in frames.items():
        pictures = {exposure: _grey(line, folder) for exposure, line in lines.items()}
        steps_off += _check_bracket(plan, lines, pictures)
        path = _readable(lines[middle], folder) if middle in lines else None
        if path is not None and pictures[middle] is not None:
            looked[frame] = _look(path, plan)
        advance()
    joined = _join(plan, looked)
    _tell(found, frames, joined, {"looked": len(looked), "steps_off": steps_off}, middle)


def _middle(bracket_ev: Sequence[float]) -> int:
    return min(range(len(bracket_ev)), key=lambda number: abs(bracket_ev[number]))


def _readable(line: MatchLine, folder: Path) -> Path | None:
    names = [name for name in (line.file, *line.also) if name is not None and Path(name).suffix.lower() in ENDINGS]
    return folder / names[0] if names else None


def _grey(line: MatchLine, folder: Path) -> NDArray[np.uint8] | None:
    """The picture of a line; None, and a note, where it cannot be read; None for what has no JPEG or TIFF."""
    path = _readable(line, folder)
    if path is None:
        return None
    try:
        return read_photograph(path).grey
    except InputError as error:
        line.notes.append(str(error).removeprefix(f"{path}: "))
        return None


def _check_bracket(plan: Plan, lines: dict[int, MatchLine], pictures: dict[int, NDArray[np.uint8] | None]) -> int:
    """How many steps of a frame's bracket are not as planned; their lines get notes."""
    planned = plan.kit.exposure.bracket_ev
    off = 0
    order = sorted(lines, key=lambda exposure: planned[exposure])
    for darker, brighter in pairwise(order):
        first, second = pictures[darker], pictures[brighter]
        if first is None or second is None or first.shape != second.shape:
            continue
        wanted, measured = planned[brighter] - planned[darker], bracket_step_ev(first, second)
        if measured is not None and step_is_off(measured, wanted):
            off += 1
            lines[brighter].notes.append(f"is {measured:+.1f} EV from exposure {darker}, planned {wanted:+.1f} EV")
    return off


def _look(path: Path, plan: Plan) -> _Looked:
    photograph = read_photograph(path)
    features = features_of(photograph.grey)
    # Descriptions are whole numbers up to 255: kept as such, a large set fits into memory.
    small = Features(features.places_px, features.descriptions.astype(np.uint8).astype(np.float32))
    return _Looked(
        small, gradient_power(photograph.grey, features.places_px), camera_for(photograph, plan.kit, None, None)
    )


def _join(plan: Plan, looked: dict[int, _Looked]) -> list[Joined | tuple[int, int]]:
    """What each two neighbours have in common; a bare pair of frames where nothing was found."""
    frames = [frame for frame in plan.frames if frame.id in looked and not frame.by_hand]
    if len(frames) < 2:
        return []
    yaw, pitch = (np.array([getattr(frame, name) for frame in frames]) for name in ("yaw_deg", "pitch_deg"))
    links = find_links(plan.kit.field(0.0), yaw, pitch)
    joined: list[Joined | tuple[int, int]] = []
    for one, other in links.pairs[links.shares >= ENOUGH].tolist():
        first, second = frames[one], frames[other]
        mine, theirs = looked[first.id], looked[second.id]
        places = matched(mine.features, theirs.features)
        try:
            turn = turn_between(*places, mine.camera)
        except (NoOverlap, ValueError):
            joined.append((first.id, second.id))
            continue
        sharper = _sharper(mine, theirs, places, turn.kept)
        planned = planned_turn((first.yaw_deg, first.pitch_deg), (second.yaw_deg, second.pitch_deg))
        joined.append(Joined(first.id, second.id, sharper, Rotation.from_rotvec(turn.vector_rad), planned))
    return joined


def _sharper(first: _Looked, second: _Looked, places: tuple[Array, Array], kept: NDArray[np.bool_]) -> float:
    """The logarithm of how much more detail the first shows of what both show."""
    of_first, of_second = (
        one.detail[_rows(one.features.places_px, where[kept])] for one, where in zip((first, second), places, strict=True)
    )
    return float(np.median(np.log((of_first + 1e-9) / (of_second + 1e-9))))


def _rows(places: Array, wanted: Array) -> NDArray[np.intp]:
    """Where each of `wanted` (k, 2) stands among `places` (n, 2), all of which are different."""
    index = {place: row for row, place in enumerate(map(tuple, places.tolist()))}
    return np.array([index[place] for place in map(tuple, wanted.tolist())], dtype=np.intp)


def _tell(
    found: Matched,
    frames: dict[int, dict[int, MatchLine]],
    joined: list[Joined | tuple[int, int]],
    counts: dict[str, int],
    middle: int,
) -> None:
    pairs = [one for one in joined if isinstance(one, Joined)]
    soft, elsewhere = soft_frames(pairs), frames_elsewhere(pairs)
    for frame, share in soft.items():
        frames[frame][middle].notes.append(f"shows {share:.0%} of the detail that its neighbours show")
    for frame, off_deg in elsewhere.items():
        frames[frame][middle].notes.append(f"points {off_deg:.1f}° from where it should, by its neighbours")
    found.checks.append(
        f"Looked at {counted(counts['looked'], 'frame')}: {len(pairs)} of {counted(len(joined), 'pair')} of neighbours "
        f"overlap as found in the pictures, {len(soft)} softer than its neighbours, {len(elsewhere)} pointing elsewhere, "
        f"{counted(counts['steps_off'], 'step')} of brackets not as planned."
    )
    lone = sorted({frame for frame in frames if joined and not any(frame in (one.first, one.second) for one in pairs)})
    if lone:
        numbers = ", ".join(map(str, lone[:20]))
        found.checks.append(f"Not found to overlap with anything, perhaps sky or fog alone: frames {numbers}.")
    made = {(line.frame, line.exposure) for line in found.lines if line.use}
    again = frames_to_retake(found.lines, [(f, e) for f, e in made if f is not None and e is not None])
    found.retake[:] = sorted({*found.retake, *again})
