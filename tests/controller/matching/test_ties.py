"""Files of one tick: every order is weighed by the shutter times."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.matching.evidence import ExposureStamp, FileStamp, evidence_of
from controller.matching.ties import settled

SHUTTERS = (0.01, 0.04, 0.16)


@st.composite
def ties(draw: st.DrawFn) -> tuple[list[FileStamp], list[ExposureStamp], list[int], list[float]]:
    """A group of files of one second, one before it and one after; the place and doubt of each."""
    count = draw(st.integers(2, 4))
    exposures = [ExposureStamp(float(n), draw(st.sampled_from(SHUTTERS))) for n in range(count + 2)]
    said = st.sampled_from([0.0, *SHUTTERS])
    files = [FileStamp(at, draw(said)) for at in (0.0, *[5.0] * count, 9.0)]
    places = [place if draw(st.booleans()) else -1 for place in range(count + 2)]
    doubts = draw(st.lists(st.floats(0, 0.5), min_size=count + 2, max_size=count + 2))
    return files, exposures, places, doubts


@settings(max_examples=40)
@given(ties())
def test_of_all_orders_the_best_is_taken_and_the_others_are_its_doubt(
    tie: tuple[list[FileStamp], list[ExposureStamp], list[int], list[float]],
) -> None:
    files, exposures, places, doubts = tie
    evidence = evidence_of(files, exposures)
    group = range(1, len(files) - 1)
    assert evidence.tied.tolist() == [-1, *[1] * len(group), -1]

    def fits(file: int, place: int) -> float:
        if place < 0 or files[file].shutter_s == 0:
            return 1.0
        return 0.99 if files[file].shutter_s == exposures[place].shutter_s else 0.01 / 20

    ways = []
    for order in permutations([places[n] for n in group]):
        chance = 1.0
        for file, place in zip(group, order, strict=True):
            chance *= fits(file, place)
        ways.append((order, chance))
    whole = sum(chance for _, chance in ways)
    partner, against = settled(evidence, np.array(places), np.array(doubts))
    assert (partner[0], partner[-1], against[0], against[-1]) == (places[0], places[-1], doubts[0], doubts[-1])
    best = max(chance for _, chance in ways)
    taken = tuple(partner[1:-1].tolist())
    assert max(chance for order, chance in ways if order == taken) == pytest.approx(best)
    for n, file in enumerate(group):
        other = sum(chance for order, chance in ways if order[n] != taken[n]) / whole
        worst = max(doubts[n] for n in group)
        assert against[file] == pytest.approx(min(1.0, worst + other), abs=1e-9)


@pytest.mark.parametrize(("count", "told"), [(5, True), (6, False)])
def test_of_more_than_five_files_every_order_is_as_good(count: int, told: bool) -> None:
    shutters = [0.001 * 4**n for n in range(count)]
    exposures = [ExposureStamp(float(n), shutter) for n, shutter in enumerate(shutters)]
    evidence = evidence_of([FileStamp(5.0, shutter) for shutter in reversed(shutters)], exposures)
    partner, against = settled(evidence, np.arange(count), np.zeros(count))
    assert partner.tolist() == (list(range(count))[::-1] if told else list(range(count)))
    assert (against < 0.05).all() if told else (against == 0.5).all()
