"""Minimisation between bounds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.planning.descent import MOST_DENSE, STALLED_SHARE, WINDOW, descend
from controller.planning.directions import Array


def bowl(at: Array, sizes: Array) -> tuple[list[Array], object]:
    seen: list[Array] = []

    def function(place: Array) -> tuple[float, Array]:
        seen.append(place.copy())
        return float((sizes * (place - at) ** 2).sum()), 2 * sizes * (place - at)

    return seen, function


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10**6), size=st.integers(1, 12), bounded=st.booleans())
def test_finds_the_lowest_place_within_bounds(seed: int, size: int, bounded: bool) -> None:
    random = np.random.default_rng(seed)
    at, sizes = random.normal(size=size), random.uniform(0.5, 5, size)
    reach = random.uniform(0.1, 1, size) if bounded else np.full(size, np.inf)
    seen, function = bowl(at, sizes)
    best = np.clip(at, -reach, reach)
    least = float((sizes * (best - at) ** 2).sum())
    place, value = descend(function, random.normal(size=size), -reach, reach, least + 1e-8)  # type: ignore[arg-type]
    assert value == pytest.approx(least, abs=1e-6)
    assert place == pytest.approx(best, abs=1e-2)
    assert all(((tried >= -reach) & (tried <= reach)).all() for tried in seen)


def test_gives_up_where_nothing_is_gained() -> None:
    looks = 0

    def rough(place: Array) -> tuple[float, Array]:
        nonlocal looks
        looks += 1
        return 1.0 + 1e-3 / looks, np.ones_like(place)

    _, value = descend(rough, np.zeros(3), np.full(3, -np.inf), np.full(3, np.inf), 1e-7)
    assert looks <= WINDOW + 1
    assert value > STALLED_SHARE


def test_many_variables_go_another_way_and_arrive_too() -> None:
    size = MOST_DENSE + 1
    seen, function = bowl(np.full(size, 0.3), np.ones(size))
    _, value = descend(function, np.zeros(size), np.full(size, -1.0), np.full(size, np.inf), 1e-6)  # type: ignore[arg-type]
    assert value < 1e-6
    assert len(seen) < 30


def test_what_the_function_raises_passes_through() -> None:
    def function(_: Array) -> tuple[float, Array]:
        raise TimeoutError

    with pytest.raises(TimeoutError):
        descend(function, np.zeros(2), np.full(2, -1.0), np.full(2, 1.0), 0.0)
