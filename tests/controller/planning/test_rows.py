"""The number of frames and the margin: independent counts, lower bounds and brute force."""

from __future__ import annotations

import functools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.planning.region import SPHERE
from controller.planning.rows import Row, Task, fewest_rows
from tests.controller.planning import oracle
from tests.controller.planning.examples import field_of, planned, row_bands, rows_of

# Frames for a full sphere with 24 x 36 mm upright at 30 %: never more than these, computed independently on a grid of a
# tenth of a degree.
MOST = {
    12.0: 13,
    14.0: 16,
    16.0: 18,
    18.0: 22,
    20.0: 25,
    24.0: 30,
    28.0: 40,
    35.0: 57,
    40.0: 69,
    50.0: 100,
    70.0: 183,
    100.0: 353,
    135.0: 616,
}


def total(rows: tuple[Row, ...] | list[Row]) -> int:
    return sum(row.count for row in rows)


@pytest.mark.parametrize("focal", MOST)
def test_count_lies_between_the_bounds(focal: float) -> None:
    field = field_of(focal)
    # Below: the cores' solid angle, and L. Fejes Toth, Lagerungen in der Ebene, auf der Kugel und im Raum,
    # Springer 1953/1972, for the caps around the cores.
    least = oracle.least_frames(field.core_half_width_rad, field.core_half_height_rad)
    assert least <= total(rows_of(focal)) <= MOST[focal]


@pytest.mark.parametrize(
    ("radius_deg", "count"), [(70.5287794, 4), (54.7356103, 6), (37.3773681, 12), (30, 18.2599), (10, 159.375)]
)
def test_the_bound_itself(radius_deg: float, count: float) -> None:
    # Equality for the tetrahedron, octahedron and icosahedron (Fejes Toth, as above).
    assert oracle.fejes_toth_count(np.radians(radius_deg)) == pytest.approx(count, abs=6e-4)


@pytest.mark.parametrize("focal", [focal for focal in MOST if focal <= 50])
def test_the_plan_is_proved(focal: float) -> None:
    proof = planned(focal).proof()
    assert proof.covered
    assert proof.worst_margin_deg > 0


@settings(max_examples=40)
@given(st.floats(9, 40), st.sampled_from([(24.0, 36.0), (36.0, 24.0), (24.0, 24.0), (15.6, 23.5)]), st.floats(0, 0.5))
def test_any_field_is_covered_and_never_below_the_bounds(
    focal: float, size_mm: tuple[float, float], overlap: float
) -> None:
    field = field_of(focal, size_mm, overlap)
    rows = fewest_rows(Task(field, SPHERE))
    assert total(rows) >= oracle.least_frames(field.core_half_width_rad, field.core_half_height_rad)
    yaw = np.concatenate([np.arange(row.count) * 360 / row.count for row in rows])
    pitch = np.concatenate([np.full(row.count, row.pitch_deg) for row in rows])
    planes = oracle.edge_planes(oracle.pose_rotations(yaw, pitch), field.core_half_width_rad, field.core_half_height_rad)
    assert oracle.quick_lowest(planes, oracle.evenly_spread(4000)) > 0


class Brute:
    """Rows on a plain grid of pitches: no fronts, no interpolation between pitches, no symmetry."""

    def __init__(self, focal: float, margin_deg: float, step_deg: float) -> None:
        self.focal, self.margin_rad = focal, float(np.radians(margin_deg))
        self.pitch = np.radians(np.arange(-90, 90 + step_deg / 2, step_deg))
        self.longest = round(1.3 * np.pi / field_of(focal).core_half_width_rad) + 1

    @functools.cached_property
    def bands(self) -> list[tuple[oracle.Array, oracle.Array]]:
        counts = range(1, self.longest + 1)
        field = field_of(self.focal)
        return [row_bands(field, n, self.pitch, self.margin_rad) for n in counts]

    def best_from(self, count: int, latitude: float) -> float:
        """The highest latitude that a row of `count` frames covers from `latitude` on."""
        low, high = self.bands[count - 1]
        return float(np.max(high, where=low <= latitude, initial=latitude))

    def closes(self, frames: int) -> bool:
        """Whether any rows with this total of frames cover the sphere."""
        reached = [-np.pi / 2]
        for k in range(1, frames + 1):
            reached.append(max(self.best_from(n, reached[k - n]) for n in range(1, min(k, self.longest) + 1)))
        return reached[frames] >= np.pi / 2 - 1e-12

    def rows_close(self, counts: tuple[int, ...]) -> bool:
        """Whether rows of these lengths, from the nadir up, cover the sphere at some pitches."""
        return functools.reduce(lambda lat, n: self.best_from(n, lat), counts, -np.pi / 2) >= np.pi / 2 - 1e-12


@pytest.mark.parametrize("focal", [12.0, 14.0, 16.0, 18.0, 20.0, 24.0, 28.0, 35.0])
def test_no_rows_on_a_fine_grid_need_fewer_frames(focal: float) -> None:
    assert not Brute(focal, 0.0, 0.05).closes(total(rows_of(focal)) - 1)


def closes_at(focal: float, rows: tuple[Row, ...], margin_deg: float) -> bool:
    """Whether the rows' bands follow each other without a gap, with cores shrunk by the margin."""
    latitude = -np.pi / 2
    for row in rows:
        low, high = row_bands(field_of(focal), row.count, np.radians([row.pitch_deg]), np.radians(margin_deg))
        if low[0] > latitude:
            return False
        latitude = float(high[0])
    return latitude >= np.pi / 2 - 1e-12


def margin_of_bands(focal: float, rows: tuple[Row, ...]) -> float:
    """The largest margin in degrees for which the bands still join, by bisection."""
    low, high = 0.0, 10.0
    assert closes_at(focal, rows, low)
    for _ in range(30):
        middle = (low + high) / 2
        low, high = (middle, high) if closes_at(focal, rows, middle) else (low, middle)
    return low


@pytest.mark.parametrize("focal", [12.0, 14.0, 16.0, 18.0, 20.0, 24.0])
def test_no_rows_on_a_fine_grid_have_a_larger_margin(focal: float) -> None:
    """With the same number of frames in any rows: the margin found is the largest, to a fiftieth of a degree."""
    rows = rows_of(focal)
    margin_deg = margin_of_bands(focal, rows)
    assert Brute(focal, max(0, margin_deg - 0.06), 0.05).closes(total(rows))
    assert not Brute(focal, margin_deg + 0.02, 0.05).closes(total(rows))


def test_no_pitches_of_the_same_rows_have_a_larger_margin() -> None:
    counts, margin_deg = tuple(row.count for row in rows_of(18.0)), margin_of_bands(18.0, rows_of(18.0))
    assert Brute(18.0, margin_deg - 0.01, 0.005).rows_close(counts)
    assert not Brute(18.0, margin_deg + 0.02, 0.005).rows_close(counts)


@pytest.mark.parametrize("focal", [12.0, 14.0, 16.0, 18.0, 20.0, 24.0, 28.0, 35.0, 50.0])
def test_the_proof_finds_at_least_the_margin_of_the_bands(focal: float) -> None:
    assert planned(focal).proof().worst_margin_deg > margin_of_bands(focal, rows_of(focal)) - 2e-5


@pytest.mark.parametrize("focal", MOST)
def test_rows_rise_from_the_nadir_and_their_pitches_are_short_numbers(focal: float) -> None:
    rows = rows_of(focal)
    pitches = [row.pitch_deg for row in rows]
    assert pitches == sorted(set(pitches))
    assert -90 <= pitches[0] <= pitches[-1] <= 90
    assert all(round(pitch, 4) == pitch for pitch in pitches)


def test_more_overlap_never_needs_fewer_frames() -> None:
    counts = [total(rows_of(24.0, overlap)) for overlap in (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6)]
    assert counts == sorted(counts)
    assert counts[0] < counts[-1]
