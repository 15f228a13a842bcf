"""Which frame is to blame if two pictures contradict each other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from controller.inspection.points import NO_MATCHES, LinkFinding, LinkReason
from controller.inspection.suspects import (
    AGREEING,
    FEW_AGREEING,
    SAME_PEAK,
    STRONG_TEXTURE,
    Explained,
    contradicts,
    suspects_in,
)

FOUND = LinkFinding(LinkReason.FOUND, NO_MATCHES, textured=0.9)
AGAINST = LinkFinding(LinkReason.DIFFERENT, NO_MATCHES, textured=0.9)
SKY = LinkFinding(LinkReason.NOTHING_TO_SEE, NO_MATCHES)
CLOUDS = replace(AGAINST, textured=STRONG_TEXTURE / 2)
Grid = list[tuple[int, int]]


def band(columns: int, rows: int) -> Grid:
    """Pairs of neighbours of rows that close around."""
    pairs = {
        tuple(sorted((row * columns + column, other * columns + (column + right) % columns)))
        for row in range(rows)
        for column in range(columns)
        for other, right in ((row, 1), (row + 1, 0), (row + 1, 1))
        if other < rows
    }
    return sorted((int(first), int(second)) for first, second in pairs)


def findings(pairs: Grid, strange: set[int], bare: set[int]) -> dict[tuple[int, int], LinkFinding]:
    """What pairs say if some frames show another place, and others nothing."""
    return {pair: SKY if bare & {*pair} else AGAINST if strange & {*pair} else FOUND for pair in pairs}


@given(st.integers(6, 12), st.integers(1, 3), st.data())
def test_one_strange_frame_is_blamed_if_a_neighbour_shows_anything(columns: int, rows: int, data: st.DataObject) -> None:
    """Whatever frames are bare, no other is blamed."""
    pairs = band(columns, rows)
    frames = st.integers(0, columns * rows - 1)
    strange = data.draw(frames)
    bare = data.draw(st.sets(frames, max_size=columns * rows // 2)) - {strange}
    around = {frame for pair in pairs if strange in pair for frame in pair} - {strange} - bare
    held = {frame for pair in pairs if not {strange, *bare} & {*pair} for frame in pair}
    suspects = suspects_in(findings(pairs, {strange}, bare))
    if around & held:
        assert suspects == [strange]
    else:
        assert set(suspects) <= {strange, *around}


@given(st.integers(8, 12), st.integers(1, 3), st.integers(0, 20))
def test_two_strange_frames_beside_each_other_are_both_blamed(columns: int, rows: int, start: int) -> None:
    first = start % (columns * rows)
    pairs = band(columns, rows)
    second = next(sum(pair) - first for pair in pairs if first in pair)
    assert set(suspects_in(findings(pairs, {first, second}, set()))) == {first, second}


@given(st.integers(6, 12), st.integers(1, 3), st.data())
def test_sound_frames_are_never_blamed(columns: int, rows: int, data: st.DataObject) -> None:
    bare = data.draw(st.sets(st.integers(0, columns * rows - 1)))
    assert suspects_in(findings(band(columns, rows), set(), bare)) == []


def test_clouds_and_water_that_differ_contradict_nothing() -> None:
    assert contradicts(AGAINST)
    assert contradicts(replace(AGAINST, peak=SAME_PEAK))  # both show a horizon, and much else
    assert not contradicts(replace(AGAINST, peak=SAME_PEAK, textured=STRONG_TEXTURE))
    assert not contradicts(replace(AGAINST, matches=replace(NO_MATCHES, agrees=np.ones(FEW_AGREEING, dtype=bool))))
    assert all(contradicts(replace(AGAINST, reason=each)) for each in LinkReason if each not in AGREEING)
    assert not contradicts(CLOUDS)
    assert not contradicts(FOUND)
    assert suspects_in({(0, 1): CLOUDS, (1, 2): CLOUDS}) == []


@given(st.permutations(range(6)))
def test_only_pictures_that_changed_places_among_themselves_are_exchanged(order: list[int]) -> None:
    """All but fixed ones are in circles. With one circle broken, its frames are of another place instead."""
    moved = {frame: place for frame, place in enumerate(order) if frame != place}
    assert Explained(moved).exchanged == moved
    assert Explained(moved, (7,)).misplaced == {7}
    if moved:
        gone = min(moved)
        circle, place = {gone}, moved[gone]
        while place != gone:
            circle.add(place)
            place = moved[place]
        broken = Explained({frame: place for frame, place in moved.items() if frame != gone}, (gone,))
        assert not circle & set(broken.exchanged)
        assert broken.misplaced == circle
        assert set(broken.exchanged) == set(moved) - circle


def test_no_findings_no_suspects() -> None:
    assert suspects_in({}) == []
    assert Explained().exchanged == {}
