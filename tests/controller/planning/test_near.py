"""Few directions are all compared and many looked up in a tree: with the same result."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.distance import cdist

from controller.planning import near
from controller.planning.directions import spiral


@pytest.fixture(params=["all compared", "tree"])
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Both ways, whatever the number of directions."""
    if request.param == "tree":
        monkeypatch.setattr(near, "FEW", 0)
        monkeypatch.setattr(near, "FEW_AMONG", 0)
    return str(request.param)


def scattered(count: int, seed: int) -> NDArray[np.float64]:
    drawn = np.random.default_rng(seed).normal(size=(count, 3))
    return np.asarray(drawn / np.linalg.norm(drawn, axis=1)[:, None])


@pytest.mark.parametrize("count", [1, 2, near.ROWS_AT_ONCE, near.ROWS_AT_ONCE + 1, 601])
@pytest.mark.parametrize("reach", [0.05, 0.7, 2.0])
def test_pairs_are_those_of_all_distances(way: str, count: int, reach: float) -> None:
    directions = scattered(count, count)
    wanted = np.argwhere(np.triu(cdist(directions, directions) <= reach, k=1))
    found = near.pairs_within(directions, reach)
    assert found.shape == wanted.shape
    assert {(int(a), int(b)) for a, b in found} == {(int(a), int(b)) for a, b in wanted}


def test_the_nearest_are_those_of_all_distances(way: str) -> None:
    directions, among = spiral(near.ROWS_AT_ONCE * 2 + 1), scattered(90, 3)
    found = near.nearest(directions, among, 12)
    wanted = np.argsort(cdist(directions, among), axis=1)[:, :12]
    assert np.array_equal(np.sort(found, axis=1), np.sort(wanted, axis=1))
