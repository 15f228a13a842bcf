"""All links of a set, with each picture read once and only a few in memory at a time."""

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from controller.inspection.overlap import FrameView, Overlap, Patch, find_overlap, needed_share, warp
from controller.inspection.points import NOTHING_COMMON, LinkFinding, find_points
from controller.inspection.workers import Workers
from controller.picture_file import read_grey

Pair = tuple[int, int]
MOST_WAITING = 16  # links whose two small pictures are kept while earlier ones are matched
COARSER = 0.8  # of the share needed is enough: half a JPEG's side takes four times as long to decode as a quarter


@dataclass(frozen=True, slots=True, eq=False)
class Sized:
    """A picture in grey (rows, columns), upright, `share` times as large as at full size."""

    grey: NDArray[np.uint8]
    share: float


def around(pairs: Iterable[Pair]) -> dict[int, set[int]]:
    """The neighbours of each frame that is in a pair."""
    found: dict[int, set[int]] = {}
    for first, second in pairs:
        found.setdefault(first, set()).add(second)
        found.setdefault(second, set()).add(first)
    return found


Source = Callable[[int, float], Sized]
"""Reads the picture of a frame by number, at least as large as the share asked for. Raises InputError.

It is called in several threads at a time, but never twice at a time for one frame."""


def read_sized(path: Path, size_px: tuple[int, int], share: float) -> Sized:
    """Read a photograph whose upright size is `size_px`, decoded at about `share` of it or more. Raises InputError."""
    read = read_grey(path, max(1, round(min(size_px) * share * COARSER)))
    return Sized(np.asarray(read.picture, dtype=np.uint8), read.share)


def find_all(
    views: Sequence[FrameView],
    pairs: Sequence[Pair],
    source: Source,
    share: float = 0.5,
    *,
    threads: int | None = None,
) -> Iterator[tuple[Pair, LinkFinding]]:
    """The finding of each link, in an order that does not depend on the number of `threads` (by default the cores).

    Frames are read about in order of number, each once, and not at all without a link. Of a link only its small local
    picture is kept until the other frame has been read. Raises InputError from `source`, without OpenCV, and if memory
    runs out.
    """
    planes: dict[Pair, Overlap] = {}
    for pair in dict.fromkeys(pairs):
        plane = find_overlap(views[pair[0]], views[pair[1]], share)
        if plane is None:
            yield pair, NOTHING_COMMON
        else:
            planes[pair] = plane
    own: dict[int, list[Pair]] = {}
    for pair in planes:
        for frame in pair:
            own.setdefault(frame, []).append(pair)
    frames = sorted(own)

    def drawn(frame: int) -> list[Patch]:
        return _patches(views[frame], [planes[pair] for pair in own[frame]], lambda least: source(frame, least))

    waiting: dict[Pair, Patch] = {}
    begun: deque[tuple[Pair, Callable[[], LinkFinding]]] = deque()
    with Workers(threads) as workers:
        for frame, patches in zip(frames, workers.in_order(drawn, frames), strict=True):
            for pair, patch in zip(own[frame], patches, strict=True):
                other = waiting.pop(pair, None)
                if other is None:
                    waiting[pair] = patch
                    continue
                both = (patch, other) if frame == pair[0] else (other, patch)
                begun.append((pair, workers.begin(find_points, views[pair[0]], views[pair[1]], planes[pair], both)))
            while len(begun) > MOST_WAITING:
                first, finding = begun.popleft()
                yield first, finding()
        for pair, finding in begun:
            yield pair, finding()


def _patches(view: FrameView, planes: Sequence[Overlap], read: Callable[[float], Sized]) -> list[Patch]:
    picture = read(max(needed_share(view, plane) for plane in planes))
    return [warp(picture.grey, picture.share, view, plane) for plane in planes]
