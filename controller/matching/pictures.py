"""`fullturn match --pictures`: check a set by its pictures. Needs the extra fullturn[pictures]."""

from collections.abc import Callable, Sequence
from dataclasses import astuple, dataclass, field
from itertools import pairwise
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from controller.amounts import counted
from controller.calibration.photographs import ENDINGS, Photograph, camera_for, read_photograph
from controller.calibration.registration import Features, features_of, matched
from controller.calibration.turning import NoOverlap, PictureGeometry, turn_between
from controller.errors import InputError
from controller.matching.checks import (
    Compared,
    Joined,
    bracket_step_ev,
    detail_of,
    frames_elsewhere,
    planned_turn,
    sharper,
    soft_frames,
    step_is_off,
)
from controller.matching.evidence import Array
from controller.matching.matched import Matched
from controller.matching.table import MatchLine, frames_to_retake
from controller.picture_file import read_grey
from controller.planning.links import ENOUGH, find_links
from controller.planning.passes import pairs_by_pass
from controller.planning.plan import Plan
from controller.planning.reached_poses import frame_pose, poses_of
from controller.reading import trouble_of

Begin = Callable[[int], Callable[[], None]]


@dataclass(frozen=True, slots=True, eq=False)
class _Looked:
    """One frame as its middle exposure shows it.

    Features, the amount of detail by place, the meaning of pixels, and their number (columns, rows).
    """

    features: Features
    detail: Array
    camera: PictureGeometry
    size_px: tuple[int, int]


def check_pictures(found: Matched, folder: Path, begin: Begin) -> None:
    """Look at the files to use: add notes to their lines, sentences to `found.checks` and frames to `found.retake`.

    Raises InputError if the library is missing.
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
        pictures = {exposure: _read(line, folder) for exposure, line in lines.items()}
        steps_off += _check_bracket(plan, lines, pictures)
        seen = pictures.get(middle)
        if seen is not None:
            looked[frame] = _look(seen, plan)
        advance()
    _tell(found, frames, _compare(plan, looked), {"looked": len(looked), "steps_off": steps_off}, middle)


def _middle(bracket_ev: Sequence[float]) -> int:
    return min(range(len(bracket_ev)), key=lambda number: abs(bracket_ev[number]))


def _readable(line: MatchLine, folder: Path) -> Path | None:
    names = [name for name in (line.file, *line.also) if name is not None and Path(name).suffix.lower() in ENDINGS]
    return folder / names[0] if names else None


def _read(line: MatchLine, folder: Path) -> Photograph | None:
    """The picture of a line. None with a note if it cannot be read; None if there is no JPEG or TIFF."""
    path = _readable(line, folder)
    if path is None:
        return None
    try:
        return read_photograph(path)
    except InputError as error:
        line.notes.append(trouble_of(error, path))
        return None


def _check_bracket(plan: Plan, lines: dict[int, MatchLine], pictures: dict[int, Photograph | None]) -> int:
    """The number of steps of the frames' brackets that are not as planned; their lines get notes."""
    planned = plan.kit.exposure.bracket_ev
    off = 0
    order = sorted(lines, key=lambda exposure: planned[exposure])
    for darker, brighter in pairwise(order):
        first, second = pictures[darker], pictures[brighter]
        if first is None or second is None or first.grey.shape != second.grey.shape:
            continue
        wanted, measured = planned[brighter] - planned[darker], bracket_step_ev(first.grey, second.grey)
        if measured is not None and step_is_off(measured, wanted):
            off += 1
            lines[brighter].notes.append(f"is {measured:+.1f} EV from exposure {darker}, planned {wanted:+.1f} EV")
    return off


def _look(photograph: Photograph, plan: Plan) -> _Looked:
    features = features_of(photograph.grey)
    rows, columns = photograph.grey.shape
    return _Looked(features, _detail(photograph.path), camera_for(photograph, plan.kit, None, None), (columns, rows))


@dataclass(slots=True)
class _Neighbours:
    """Which pairs of neighbours overlap: `joined`, otherwise in `apart`; `compared` by the plan alone."""

    joined: list[Joined] = field(default_factory=list)
    apart: list[tuple[int, int]] = field(default_factory=list)
    compared: list[Compared] = field(default_factory=list)


def _compare(plan: Plan, looked: dict[int, _Looked]) -> _Neighbours:
    found = _Neighbours()
    frames = [frame for frame in plan.frames if frame.id in looked and not frame.by_hand]
    if len(frames) < 2:
        return found
    poses = {frame.id: frame_pose(plan.kit.head, frame) for frame in frames}
    once = [frame for frame in plan.first_pass if not frame.by_hand]
    links = find_links(plan.kit.field(0.0), *poses_of(plan.kit.head, once))
    neighbours = [(once[a].id, once[b].id) for a, b in links.pairs[links.shares >= ENOUGH].tolist()]
    for first, second in pairs_by_pass(frames, neighbours):
        mine, theirs = looked[first], looked[second]
        planned = planned_turn(astuple(poses[first]), astuple(poses[second]))
        more = sharper(mine.detail, theirs.detail, mine.camera, mine.size_px, planned)
        if more is not None:
            found.compared.append(Compared(first, second, more))
        places = matched(mine.features, theirs.features)
        try:
            turn = turn_between(*places, mine.camera)
        except (NoOverlap, ValueError):
            found.apart.append((first, second))
            continue
        found.joined.append(Joined(first, second, Rotation.from_rotvec(turn.vector_rad), planned))
    return found


def _detail(path: Path) -> Array:
    """The amount of detail in each part of the whole picture, at its full size, upright."""
    return detail_of(np.asarray(read_grey(path).picture))


def _tell(
    found: Matched,
    frames: dict[int, dict[int, MatchLine]],
    pairs: _Neighbours,
    counts: dict[str, int],
    middle: int,
) -> None:
    soft, elsewhere = soft_frames(pairs.compared), frames_elsewhere(pairs.joined)
    for frame, share in soft.items():
        frames[frame][middle].notes.append(f"shows {share:.0%} of the detail that its neighbours show")
    for frame, off_deg in elsewhere.items():
        frames[frame][middle].notes.append(f"points {off_deg:.1f}° from where it should, by its neighbours")
    found.checks.append(
        f"Looked at {counted(counts['looked'], 'frame')}: {len(pairs.joined)} of "
        f"{counted(len(pairs.joined) + len(pairs.apart), 'pair')} of neighbours "
        f"overlap as found in the pictures, {len(soft)} softer than its neighbours, {len(elsewhere)} pointing elsewhere, "
        f"{counted(counts['steps_off'], 'step')} of brackets not as planned."
    )
    held = {frame for one in pairs.joined for frame in (one.first, one.second)}
    lone = sorted({frame for pair in pairs.apart for frame in pair} - held)
    if lone:
        numbers = ", ".join(map(str, lone[:20]))
        found.checks.append(f"Not found to overlap with anything, perhaps sky or fog alone: frames {numbers}.")
    made = {(line.frame, line.exposure) for line in found.lines if line.use}
    again = frames_to_retake(found.lines, [(f, e) for f, e in made if f is not None and e is not None])
    found.retake[:] = sorted({*found.retake, *again})
