"""The examined pictures of a set, read once at full size: their detail, and a reduced picture to match."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from controller.calibration.registration import opencv
from controller.errors import InputError
from controller.inspection.detail import Detail, detail_of
from controller.inspection.linking import Sized
from controller.inspection.taken import SharedFacts, TakenFrame
from controller.picture_file import read_grey
from controller.reading import trouble_of

COARSER = 0.8  # of the share needed is enough


class PictureSource:
    """Reads the examined pictures of a set, each at full size, and keeps its detail. For several threads at a time."""

    def __init__(self, taken: Sequence[TakenFrame], shared: SharedFacts) -> None:
        self.details: dict[int, Detail] = {}
        self._taken, self._shared = taken, shared

    @property
    def readable(self) -> int:
        """The number of frames with a picture to read."""
        return sum(one.path is not None for one in self._taken)

    def __call__(self, frame: int, share: float) -> Sized:
        """The picture of a frame, at least `share` of full size. A damaged file counts as black, and is left out."""
        taken = self._taken[frame]
        path, exposure = taken.path, taken.chosen
        assert path is not None
        assert exposure is not None
        try:
            grey = np.asarray(read_grey(path, None, self._shared.orientation).picture, dtype=np.uint8)
        except InputError as error:
            taken.troubles[exposure] = f"{path.name}: {trouble_of(error, path)}."
            grey = np.zeros(self._shared.size_px[::-1], dtype=np.uint8)
        if frame not in self.details:
            self.details[frame] = detail_of(grey)
        return reduced(grey, share)


def reduced(grey: NDArray[np.uint8], share: float) -> Sized:
    """A picture reduced by a power of two, to no less than about `share`. Raises InputError without OpenCV."""
    factor = 2 ** max(0, math.floor(math.log2(1 / (share * COARSER))))
    if factor == 1:
        return Sized(grey, 1.0)
    rows, columns = (side // factor for side in grey.shape)
    whole = grey[: rows * factor, : columns * factor]
    small = opencv().resize(whole, (columns, rows), interpolation=opencv().INTER_AREA)
    return Sized(np.asarray(small, dtype=np.uint8), 1 / factor)
