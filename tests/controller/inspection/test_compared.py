"""Frames against their neighbours: made-up differences of pairs, and cells of made-up pictures."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.inspection.cells import CELLS, Cells, grid_of, lit_cells
from controller.inspection.compared import brighter, common_cells, directions, levels
from controller.inspection.detail import Sharper
from controller.inspection.exposures import LIGHT
from controller.inspection.lens_model import Array, BrownLens
from controller.inspection.poses import turned
from controller.optics.projection import Projection

SIZE = (300, 200)
LENS = BrownLens(Projection.RECTILINEAR, 250.0, 149.5, 99.5)


def ring(count: int, rows: int = 1) -> list[tuple[int, int]]:
    """Neighbours in rows that close around, and from row to row."""
    beside = [
        (row * count + column, row * count + (column + 1) % count) for row in range(rows) for column in range(count)
    ]
    above = [(row * count + column, (row + 1) * count + column) for row in range(rows - 1) for column in range(count)]
    return beside + above


@given(st.integers(6, 12), st.integers(1, 3), st.sampled_from([-1.0, 1.0]), st.integers(0, 40), st.integers(0, 9))
def test_one_frame_that_differs_is_found_and_no_other(count: int, rows: int, by: float, number: int, seed: int) -> None:
    """Also in a single row, the first frame and the last."""
    pairs, odd = ring(count, rows), number % (count * rows)
    true = np.zeros(count * rows)
    true[odd] = by
    noise = np.random.default_rng(seed).normal(0, 0.02, len(pairs))
    found = levels(
        count * rows, pairs, [true[one] - true[other] + off for (one, other), off in zip(pairs, noise, strict=True)]
    )
    assert abs(found[odd] - by) < 0.2
    assert np.abs(np.delete(found, odd)).max() < 0.2


def test_what_all_frames_of_an_exposure_have_in_common_is_no_frame_s() -> None:
    count = 24
    pairs = ring(8, 3)
    kinds = [int(8 <= frame < 16) for frame in range(count)]
    seen = [0.3 * (kinds[one] - kinds[other]) for one, other in pairs]
    assert np.abs(levels(count, pairs, seen, kinds=kinds)).max() < 0.1
    assert np.abs(levels(count, pairs, seen)).max() > 0.1


@given(st.lists(st.floats(-2, 2), min_size=40, max_size=40))
def test_what_common_terms_explain_is_left_out(terms: list[float]) -> None:
    pairs = ring(8, 3)
    term = np.array(terms[: len(pairs)])
    found = levels(24, pairs, list(0.5 * term), common=[np.array([each]) for each in term])
    assert np.abs(found).max() < 0.1


def test_frames_without_a_pair_are_unknown() -> None:
    assert np.isnan(levels(3, [], [])).all()
    assert np.isnan(directions(3, [], [])).all()
    assert np.isnan(levels(3, [(0, 1)], [0.5])).tolist() == [False, False, True]


def along_of(angle_rad: float, size: float) -> Array:
    return size * np.array([np.cos(2 * angle_rad), np.sin(2 * angle_rad)])


@given(st.floats(0, np.pi), st.integers(0, 23), st.integers(0, 99))
def test_the_direction_of_a_motion_is_found_whatever_way_the_frames_are_turned(
    angle_rad: float, odd: int, seed: int
) -> None:
    random = np.random.default_rng(seed)
    rolls = random.uniform(-np.pi, np.pi, 24)
    own = np.zeros((24, 2))
    own[odd] = along_of(angle_rad, 0.5)
    found, pairs = [], ring(8, 3)
    for one, other in pairs:
        turn = float(rolls[one] - rolls[other])
        cosine, sine = np.cos(2 * turn), np.sin(2 * turn)
        stretch = random.normal(0, 0.1, 2)
        in_first = np.array([[cosine, sine], [-sine, cosine]]) @ own[other]
        found.append(Sharper(0.0, own[one] - in_first + 0.6 * stretch, 0.05, 0.05, turn, 0.0, stretch))
    measured = directions(24, pairs, found)
    assert np.linalg.norm(measured[odd] - own[odd]) < 0.08
    assert np.linalg.norm(np.delete(measured, odd, axis=0), axis=1).max() < 0.08


def lit(codes: int) -> Cells:
    return lit_cells(np.full((100, 150), codes, dtype=np.uint8), SIZE)


@given(st.integers(20, 240), st.integers(20, 240))
def test_how_much_brighter_a_picture_is_does_not_depend_on_where_it_looks(one: int, other: int) -> None:
    rotations = np.eye(3), turned(np.array([[0.1, 0.4, 0.2]]))[0]
    common = common_cells(lit(one), lit(other), LENS, rotations, None)
    assert common is not None
    found = brighter(lit(one), lit(other), common)
    assert found is not None
    assert found.ev == pytest.approx(float(np.log2(LIGHT[one] / LIGHT[other])), abs=0.01)


def test_frames_that_look_apart_have_no_common_cells() -> None:
    apart = np.eye(3), turned(np.array([[0.0, 2.0, 0.0]]))[0]
    assert common_cells(lit(99), lit(99), LENS, apart, None) is None


@pytest.mark.parametrize("codes", [0, 5, 252, 255])
def test_black_and_clipped_cells_tell_nothing(codes: int) -> None:
    common = common_cells(lit(99), lit(codes), LENS, (np.eye(3), np.eye(3)), None)
    assert common is not None
    assert np.isnan(lit(codes).light).all()
    assert brighter(lit(99), lit(codes), common) is None


def test_nothing_outside_the_image_circle_is_compared() -> None:
    rotations = np.eye(3), turned(np.array([[0.0, 0.2, 0.0]]))[0]
    whole, inside = (common_cells(lit(99), lit(99), LENS, rotations, circle) for circle in (None, 80.0))
    assert whole is not None
    assert inside is not None
    middle = (np.array(SIZE) - 1) / 2
    for numbers in (inside.first, inside.second):
        places = lit(99).centres_px()[numbers]
        assert np.linalg.norm(places - middle, axis=1).max() < 80 + SIZE[0] / CELLS * 2
    assert len(inside.first) < len(whole.first)


@given(st.integers(1, 9000), st.integers(1, 9000))
def test_every_place_is_in_the_cell_whose_middle_is_nearest(wide: int, high: int) -> None:
    rows, columns = grid_of((wide, high))
    assert max(rows, columns) == CELLS
    cells = Cells((wide, high), np.zeros((rows, columns)))
    assert cells.at(cells.centres_px()).tolist() == list(range(rows * columns))
    places = np.random.default_rng(wide).uniform((-0.5, -0.5), (wide - 0.5, high - 0.5), (50, 2))
    away = np.abs(cells.centres_px()[cells.at(places)] - places) / (wide / columns, high / rows)
    assert away.max() <= 0.5 + 1e-6
    outside = np.array([(-0.6, 0.0), (wide - 0.4, 0.0), (0.0, high - 0.4), (np.nan, 0.0)])
    assert cells.at(outside).tolist() == [-1] * 4
