"""Files of one tick in an unknown order: their names say nothing, and the clock shows whole seconds.

The alignment treats them as consecutive places. Here each gets one of the places by its shutter time, with the doubt that
another order is as good.
"""

from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from controller.matching.alignment import SHUTTERS
from controller.matching.evidence import Array, Evidence

MOST_TIED = 5  # files; with more, every order counts as equally good


def settled(evidence: Evidence, partner: NDArray[np.int64], against: Array) -> tuple[NDArray[np.int64], Array]:
    """Partners and doubts (see `alignment.Posterior`), with tied files assigned by their shutter times."""
    partner, against = partner.copy(), against.copy()
    for group in np.unique(evidence.tied[evidence.tied >= 0]):
        mine = np.flatnonzero(evidence.tied == group)
        places, doubts = partner[mine], against[mine]
        if len(mine) > MOST_TIED:
            against[mine] = np.maximum(doubts, 0.5)
            continue
        weights = _weights(evidence, mine, places)
        orders = list(permutations(range(len(mine))))
        chances = np.array([np.prod([weights[file, place] for file, place in enumerate(order)]) for order in orders])
        chances = chances / chances.sum()
        best = orders[int(chances.argmax())]
        for file, place in enumerate(best):
            given = chances[[places[order[file]] != places[place] for order in orders]].sum()
            partner[mine[file]] = places[place]
            against[mine[file]] = min(1.0, doubts.max() + given)
    return partner, against


def _weights(evidence: Evidence, files: NDArray[np.int64], places: NDArray[np.int64]) -> Array:
    """How well each file fits each place, (files, places); an extra file's place fits all."""
    alike = np.where(places >= 0, evidence.own[files][:, evidence.which[np.maximum(places, 0)]], 0)
    return np.asarray(SHUTTERS[alike + 1])
