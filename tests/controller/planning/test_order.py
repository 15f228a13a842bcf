"""The order of shooting."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.planning.plan import Frame
from controller.planning.rows import Row
from tests.controller.planning.examples import frames_of, rows_of, snake

ROWS = st.lists(st.integers(1, 40), min_size=1, max_size=8).map(
    lambda counts: [Row(count, -80.0 + 20.0 * i) for i, count in enumerate(counts)]
)


def by_row(frames: tuple[Frame, ...]) -> list[list[Frame]]:
    return [list(row) for _, row in itertools.groupby(frames, key=lambda frame: frame.row)]


def largest_step(rows: list[Row]) -> float:
    return max(360 / row.count for row in rows)


@given(ROWS)
def test_ids_and_rows_in_shooting_order(rows: list[Row]) -> None:
    frames = snake(rows)
    assert [frame.id for frame in frames] == list(range(sum(row.count for row in rows)))
    assert [row[0].row for row in by_row(frames)] == list(range(len(rows)))
    assert [len(row) for row in by_row(frames)] == [row.count for row in reversed(rows)]


@given(ROWS)
def test_from_the_top_down(rows: list[Row]) -> None:
    frames = snake(list(rows))
    assert frames == snake(rows[::-1])
    pitches = [frame.pitch_deg for frame in frames]
    assert pitches == sorted(pitches, reverse=True)


@given(ROWS)
def test_each_row_is_equally_spaced_and_closes_the_turn(rows: list[Row]) -> None:
    for row in by_row(snake(rows)):
        if len(row) == 1:
            continue
        yaws = sorted(frame.yaw_deg for frame in row)
        assert yaws == [360.0 * i / len(row) for i in range(len(row))]  # exactly: nothing is summed
        assert len({frame.pitch_deg for frame in row}) == 1


@given(ROWS)
def test_neighbours_follow_each_other(rows: list[Row]) -> None:
    rows = [row for row in rows if row.count > 1] or [Row(2, 0.0)]
    frames = snake(rows)
    for one, following in itertools.pairwise(frames):
        if one.row == following.row:
            step = 360 / len(by_row(frames)[one.row])
            assert abs(following.yaw_deg - one.yaw_deg) == pytest.approx(step)
        else:
            assert abs(following.yaw_deg - one.yaw_deg) <= largest_step([r for r in rows if r.count > 1] or rows)


@given(ROWS)
def test_cables_never_wind_up(rows: list[Row]) -> None:
    frames = snake(rows)
    assert all(0 <= frame.yaw_deg < 360 for frame in frames)
    travel = sum(abs(b.yaw_deg - a.yaw_deg) for a, b in itertools.pairwise(frames))
    assert travel <= 360 * len(rows)


@given(ROWS)
def test_rows_turn_right_and_left_in_turn(rows: list[Row]) -> None:
    ways = [row[-1].yaw_deg > row[0].yaw_deg for row in by_row(snake(rows)) if len(row) > 1]
    assert ways == [i % 2 == 0 for i in range(len(ways))]


@given(st.integers(2, 30), st.sampled_from([-90.0, 90.0]))
def test_a_frame_at_a_pole_stays_at_the_heads_yaw(count: int, pole_deg: float) -> None:
    rows = [Row(count, 10.0), Row(1, pole_deg)]
    head = 0.0
    for frame in (frames := snake(rows)):
        if sum(other.row == frame.row for other in frames) == 1:
            assert frame.yaw_deg == head
        head = frame.yaw_deg


@pytest.mark.parametrize("focal", [14.0, 24.0, 50.0])
def test_real_plans(focal: float) -> None:
    frames = frames_of(focal)
    rows = list(rows_of(focal))
    assert len(frames) == sum(row.count for row in rows)
    travel = sum(abs(b.yaw_deg - a.yaw_deg) for a, b in itertools.pairwise(frames))
    assert travel < 360 * len(rows)
    tilt = sum(abs(b.pitch_deg - a.pitch_deg) for a, b in itertools.pairwise(frames))
    assert tilt == pytest.approx(rows[-1].pitch_deg - rows[0].pitch_deg)
