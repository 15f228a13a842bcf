"""Which ramps and shapers a program tells the board: those with which its own moves and waits take the least time."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from controller.kit.kit import Kit
from controller.program.arrival import Approach, Moves, with_shapers
from controller.program.program import Settings
from controller.shaping.rig import modes_of
from controller.shaping.shapers import candidates
from protocol.shaper import PLAIN, Shaper

MOST_WEIGHED = 150
"""Moves of a larger set are weighed by a sample: every second one, every third, and so on."""
GENTLER = (1.0, 0.85, 0.7, 0.6, 0.5)
"""Shares of the axes' acceleration that a board without shaping may be told. Not less: a Stop brakes with it as well."""

Pair = tuple[Shaper, Shaper]


def choose(kit: Kit, settings: Settings, approaches: Sequence[Approach]) -> Settings:
    """The settings of pan and tilt for a head that makes these approaches.

    A board that does not shape its ramps gets the acceleration with which moving and waiting together are shortest.
    """
    if kit.head.settle_ms is not None or not approaches:
        return settings
    weighed = approaches[:: -(-len(approaches) // MOST_WEIGHED)]
    if kit.board.shapes_ramps:
        return with_shapers(settings, _shapers(kit, settings, weighed))
    ways = [_gentler(settings, share) for share in GENTLER]
    return min(ways, key=lambda each: _Costs(kit, each, weighed).of((PLAIN, PLAIN)))


def _gentler(settings: Settings, share: float) -> Settings:
    pan, tilt = (replace(each, accel_steps_s2=max(1, round(share * each.accel_steps_s2))) for each in settings)
    return pan, tilt


def _shapers(kit: Kit, settings: Settings, approaches: Sequence[Approach]) -> Pair:
    """First both axes have shapers of one kind, then each tries all of its own beside the best of the other axis."""
    costs = _Costs(kit, settings, approaches)
    pans, tilts = (candidates(modes_of(kit.head, axis)) for axis in (kit.head.pan, kit.head.tilt))
    _, tilt = costs.best(zip(pans, tilts, strict=False))
    pan, _ = costs.best((shaper, tilt) for shaper in pans)
    return costs.best((pan, shaper) for shaper in tilts)


class _Costs:
    """What the approaches cost with a pair of shapers, in seconds."""

    def __init__(self, kit: Kit, settings: Settings, approaches: Sequence[Approach]) -> None:
        self._moves = Moves(kit, settings, approaches)
        self._exposures = max((each.exposures for each in approaches), key=lambda them: max(them, default=(0.0, 0.0)))

    def of(self, pair: Pair) -> float:
        took_s, wait_s = self._moves.seconds(pair, self._exposures)
        return float(np.sum(took_s + wait_s))

    def best(self, pairs: Iterable[Pair]) -> Pair:
        """The cheapest of pairs that grow longer: none pays once turning alone takes as long as the cheapest."""
        best, least_s = (PLAIN, PLAIN), math.inf
        for pair in pairs:
            if float(np.sum(self._moves.took_s(pair))) >= least_s:
                break
            if (cost_s := self.of(pair)) < least_s:
                best, least_s = pair, cost_s
        return best
