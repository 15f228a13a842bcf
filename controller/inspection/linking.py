"""All links of a set, with each picture read once and only one in memory at a time."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from controller.inspection.overlap import FrameView, Overlap, Patch, find_overlap, needed_share, warp
from controller.inspection.points import NOTHING_COMMON, LinkFinding, find_points
from controller.picture_file import read_grey

Pair = tuple[int, int]
COARSER = 0.8  # of the share needed is enough: half a JPEG's side takes four times as long to decode as a quarter


@dataclass(frozen=True, slots=True, eq=False)
class Sized:
    """A picture in grey (rows, columns), upright, `share` times as large as at full size."""

    grey: NDArray[np.uint8]
    share: float


Source = Callable[[int, float], Sized]
"""Reads the picture of a frame by number, at least as large as the share asked for. Raises InputError."""


def read_sized(path: Path, size_px: tuple[int, int], share: float) -> Sized:
    """Read a photograph whose upright size is `size_px`, decoded at about `share` of it or more. Raises InputError."""
    read = read_grey(path, max(1, round(min(size_px) * share * COARSER)))
    return Sized(np.asarray(read.picture, dtype=np.uint8), read.share)


def find_all(
    views: Sequence[FrameView], pairs: Sequence[Pair], source: Source, share: float = 0.5
) -> Iterator[tuple[Pair, LinkFinding]]:
    """The finding of each link, in the order in which they become known. `pairs` are frames by number.

    Frames are read in order of number, each once, and not at all without a link. Of a link only its small local picture
    is kept until the other frame has been read. Raises InputError from `source` and without OpenCV.
    """
    planes: dict[Pair, Overlap] = {}
    for pair in dict.fromkeys(pairs):
        plane = find_overlap(views[pair[0]], views[pair[1]], share)
        if plane is None:
            yield pair, NOTHING_COMMON
        else:
            planes[pair] = plane
    waiting: dict[Pair, Patch] = {}
    for frame in sorted({frame for pair in planes for frame in pair}):
        own = [pair for pair in planes if frame in pair]
        for pair, patch in zip(own, _patches(frame, views[frame], [planes[pair] for pair in own], source), strict=True):
            other = waiting.pop(pair, None)
            if other is None:
                waiting[pair] = patch
                continue
            both = (patch, other) if frame == pair[0] else (other, patch)
            yield pair, find_points(views[pair[0]], views[pair[1]], planes[pair], both)


def _patches(frame: int, view: FrameView, planes: Sequence[Overlap], source: Source) -> list[Patch]:
    picture = source(frame, max(needed_share(view, plane) for plane in planes))
    return [warp(picture.grey, picture.share, view, plane) for plane in planes]
