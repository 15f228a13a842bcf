"""Which of many directions are near each other.

The tree for many comes from a library whose loading takes 40 MB and a third of a second. Few directions are simply all
compared, so that a capture never loads it.
"""

import numpy as np
from numpy.typing import NDArray

from controller.planning.directions import Array

FEW = 2000
"""Up to so many directions, comparing all is quicker than loading the tree."""
FEW_AMONG = 500
"""The same, where each of many directions looks for its nearest."""
ROWS_AT_ONCE = 250


def pairs_within(directions: Array, reach: float) -> NDArray[np.intp]:
    """All pairs of the (n, 3) unit vectors with ends at most `reach` apart, shape (k, 2), the smaller number first."""
    if len(directions) <= FEW:
        return np.concatenate(
            [_pairs_from(directions, begin, reach) for begin in range(0, len(directions), ROWS_AT_ONCE)]
        )
    from scipy.spatial import cKDTree  # noqa: PLC0415  see above

    return cKDTree(directions).query_pairs(reach, output_type="ndarray")


def _pairs_from(directions: Array, begin: int, reach: float) -> NDArray[np.intp]:
    """The pairs whose smaller number is one of the ROWS_AT_ONCE from `begin` on."""
    squared = 2 - 2 * (directions[begin : begin + ROWS_AT_ONCE] @ directions[begin:].T)
    first, second = np.nonzero(np.triu(squared <= reach * reach, k=1))
    return np.stack([first, second], axis=1) + begin


def nearest(directions: Array, among: Array, count: int) -> NDArray[np.intp]:
    """The numbers of the `count` unit vectors `among` (m, 3) nearest to each of `directions` (n, 3), shape (n, count).

    They are in no order.
    """
    if len(among) <= FEW_AMONG:
        parts = np.array_split(directions, 1 + len(directions) // ROWS_AT_ONCE)
        return np.concatenate([np.argpartition(-(part @ among.T), count, axis=1)[:, :count] for part in parts])
    from scipy.spatial import cKDTree  # noqa: PLC0415  see above

    _, numbers = cKDTree(among).query(directions, k=list(range(1, count + 1)))
    return np.asarray(numbers)
