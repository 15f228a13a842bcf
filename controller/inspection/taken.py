"""The files of a set, frame by frame: which can be read, which is examined, and what its exposures show."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL.ExifTags import Base

from controller import exif
from controller.amounts import counted
from controller.calibration.photographs import ENDINGS, SAME_FOCAL
from controller.errors import InputError
from controller.inspection.cells import Cells, lit_cells
from controller.inspection.exposures import bracket_step_ev, choose_exposures, histogram, lost_shares
from controller.matching.table import MatchLine
from controller.picture_file import RAW, read_facts, read_grey
from controller.planning.plan import Frame
from controller.reading import trouble_of

GLANCE_PX = 300  # of the short side: enough for a histogram and for cells of brightness
NOT_READABLE = "is of a kind that cannot be read here"
TURNED_SIDES = frozenset({5, 6, 7, 8})  # orientations that exchange width and height


@dataclass(slots=True)
class TakenFrame:
    """A frame of the plan with its files by exposure. `troubles` has a sentence for each file that is left out."""

    frame: Frame
    lines: dict[int, MatchLine]
    paths: dict[int, Path] = field(default_factory=dict)
    troubles: dict[int, str] = field(default_factory=dict)
    chosen: int | None = None
    lit: dict[int, Cells] = field(default_factory=dict)
    histograms: dict[int, NDArray[np.int64]] = field(default_factory=dict)
    steps_ev: dict[tuple[int, int], float] = field(default_factory=dict)
    """How many EV brighter the second of two exposures is than the first, if that can be told."""
    lost: tuple[float, float] = (0.0, 0.0)

    @property
    def path(self) -> Path | None:
        """The picture to examine; None if there is none."""
        return None if self.chosen is None else self.paths[self.chosen]

    def adopt(self, other: "TakenFrame") -> None:
        """Take over the pictures of another frame."""
        self.paths, self.troubles, self.chosen = other.paths, other.troubles, other.chosen
        self.lit, self.steps_ev, self.histograms, self.lost = other.lit, other.steps_ev, other.histograms, other.lost

    def name_of(self, exposure: int) -> str:
        """The file of an exposure, as a path in the card's folder."""
        line, path = self.lines[exposure], self.paths[exposure]
        return next(name for name in (line.file, *line.also) if name is not None and Path(name).name == path.name)


@dataclass(frozen=True, slots=True)
class SharedFacts:
    """What the pictures of a set have in common: upright size, orientation by EXIF, and focal length (None: not said).

    `turned` are the files that say another orientation.
    """

    size_px: tuple[int, int]
    orientation: int
    focal_mm: float | None
    turned: tuple[str, ...] = ()


def taken_frames(frames: Sequence[Frame], lines: Iterable[MatchLine], folder: Path) -> list[TakenFrame]:
    """The frames of a plan with the files to use."""
    by_frame: dict[int, dict[int, MatchLine]] = {}
    for line in lines:
        if line.use and line.frame is not None and line.exposure is not None:
            by_frame.setdefault(line.frame, {})[line.exposure] = line
    taken = [TakenFrame(frame, by_frame.get(frame.id, {})) for frame in frames]
    for one in taken:
        for exposure, line in one.lines.items():
            path = _readable(line, folder)
            if path is None:
                one.troubles[exposure] = f"{line.file}: {NOT_READABLE}. Shoot JPEG beside raw, or copy the JPEGs too."
            else:
                one.paths[exposure] = path
    return taken


def _readable(line: MatchLine, folder: Path) -> Path | None:
    names = [name for name in (line.file, *line.also) if name is not None]
    for endings in (ENDINGS, RAW):  # a raw file counts by its preview, if no JPEG is beside it
        for name in names:
            if Path(name).suffix.lower() in endings:
                return folder / name
    return None


def preview_note(taken: Sequence[TakenFrame], shared: SharedFacts) -> list[str]:
    """A sentence if raw files were read by their previews."""
    raw = sum(path.suffix.lower() in RAW for one in taken for path in one.paths.values())
    if not raw:
        return []
    size = f"{shared.size_px[0]} x {shared.size_px[1]} pixels upright"
    return [
        f"{counted(raw, 'raw file')} had no JPEG beside {'it' if raw == 1 else 'them'}, so the preview inside was read "
        f"({size}): all figures in pixels are of that size."
    ]


def shared_facts(taken: Sequence[TakenFrame]) -> SharedFacts:
    """What most pictures have in common. Files that differ are left out, with a trouble.

    The camera is fixed to the head, so all pictures are upright in the same way. A camera's own idea of that is often
    wrong when it looks up or down; such a picture is used and turned like the others. Raises InputError if no picture can
    be read.
    """
    read: dict[tuple[int, int], tuple[tuple[int, int], int, float | None]] = {}
    for place, one in enumerate(taken):
        for exposure, path in list(one.paths.items()):
            try:
                facts = read_facts(path)
            except InputError as error:
                _leave_out(one, exposure, f"{path.name}: {trouble_of(error, path)}.")
                continue
            turn = exif.whole(facts.tags.get(Base.Orientation)) or 1
            read[place, exposure] = (facts.size_px, turn, exif.positive(facts.details.get(Base.FocalLength)))
    if not read:
        raise InputError("None of the paired files can be read as a picture. Give the folder with the JPEGs of this run.")
    sizes, turns, focals = (Counter(each) for each in zip(*read.values(), strict=True))
    stored, turn, focal = (counts.most_common(1)[0][0] for counts in (sizes, turns, focals))
    turned = []
    for (place, exposure), (own_size, own_turn, own_focal) in read.items():
        name = taken[place].paths[exposure].name
        if own_size != stored:
            size, usual = (f"{side[0]} x {side[1]} pixels" for side in (own_size, stored))
            _leave_out(taken[place], exposure, f"{name}: is {size}, the others are {usual}. It was left out.")
        elif own_focal and focal and abs(own_focal / focal - 1) > SAME_FOCAL:
            what = f"{name}: was shot at {own_focal:g} mm, the others at {focal:g} mm. It was left out."
            _leave_out(taken[place], exposure, what)
        elif own_turn != turn:
            turned.append(name)
    return SharedFacts(stored[::-1] if turn in TURNED_SIDES else stored, turn, focal, tuple(turned))


def _leave_out(one: TakenFrame, exposure: int, trouble: str) -> None:
    one.troubles[exposure] = trouble
    del one.paths[exposure]


def glance(one: TakenFrame, shared: SharedFacts, circle_px: float | None, bracket_ev: Sequence[float]) -> None:
    """Read each exposure of a frame small. A file that fails is left out.

    Outside the image circle, whose radius at full size is `circle_px`, nothing counts. `bracket_ev` is the bracket as
    planned: each exposure is compared with the next brighter one.
    """
    greys: dict[int, NDArray[np.uint8]] = {}
    for exposure, path in sorted(one.paths.items()):
        try:
            grey = np.asarray(read_grey(path, GLANCE_PX, shared.orientation).picture, dtype=np.uint8)
        except InputError as error:
            _leave_out(one, exposure, f"{path.name}: {trouble_of(error, path)}.")
            continue
        if (grey.shape[1] > grey.shape[0]) != (shared.size_px[0] > shared.size_px[1]):  # a TIFF keeps its orientation
            _leave_out(one, exposure, f"{path.name}: is turned by a quarter against the others. It was left out.")
            continue
        one.histograms[exposure] = histogram(grey[_within(grey.shape, circle_px, shared)])
        greys[exposure] = grey
        one.lit[exposure] = lit_cells(grey, shared.size_px)
    for darker, brighter in pairwise(sorted(greys, key=lambda exposure: bracket_ev[exposure])):
        step = bracket_step_ev(greys[darker], greys[brighter])
        if step is not None:
            one.steps_ev[darker, brighter] = step


def _within(shape: tuple[int, ...], circle_px: float | None, shared: SharedFacts) -> NDArray[np.bool_]:
    """Which pixels of a small picture are inside the image circle."""
    if circle_px is None:
        return np.ones(shape, dtype=bool)
    down, across = (np.arange(length) - (length - 1) / 2 for length in shape)
    return np.asarray(np.hypot(across, down[:, None]) * shared.size_px[0] / shape[1] < circle_px)


def choose(taken: Sequence[TakenFrame]) -> None:
    """Choose the exposure to examine of each frame that has been glanced at."""
    for one, exposure in zip(taken, choose_exposures([one.histograms for one in taken]), strict=True):
        one.chosen = exposure
        if exposure is not None:
            one.lost = lost_shares(one.histograms[exposure])
