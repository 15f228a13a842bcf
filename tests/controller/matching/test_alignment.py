"""The sums over all alignments, held against all alignments written out."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.matching.alignment import Fit, Rates, _chain, _ending, believe, likelihood
from controller.matching.evidence import Evidence, ExposureStamp, FileStamp, evidence_of

FIT = Fit(100.0, 0.0, 0.3)
RATES = Rates()


def small_card(times: list[float], planned: list[float], numbers: bool, made: list[bool]) -> Evidence:
    files = [FileStamp(t, number=3 * n + 1 if numbers else None) for n, t in enumerate(sorted(times))]
    return evidence_of(files, [ExposureStamp(p, 0.1, m) for p, m in zip(sorted(planned), made, strict=False)])


def alignments(evidence: Evidence) -> Iterator[tuple[tuple[int, ...], float]]:
    """Each alignment (for each file its exposure or -1; the same may come in several ways), and its probability."""
    links = _chain(evidence, FIT, RATES)
    ending = _ending(evidence, links[-1], RATES)

    def onward(file: int, state: int, pairs: tuple[int, ...], weight: float) -> Iterator[tuple[tuple[int, ...], float]]:
        if file == len(links):
            yield pairs, math.exp(weight + ending[state])
            return
        link = links[file]
        for target in range(link.last - link.first + 1):
            move = link.move[state, target]
            if move == -np.inf:
                continue
            yield from onward(file + 1, target, (*pairs, -1), weight + move + link.alone)
            if target < len(link.pairs):
                mine = weight + move + link.pairs[target]
                yield from onward(file + 1, target + 1, (*pairs, link.first + target), mine)

    yield from onward(0, 0, (), 0.0)


moments = st.floats(0, 6).map(lambda value: round(value, 1))


@given(
    st.lists(moments, min_size=1, max_size=4),
    st.lists(moments, min_size=1, max_size=4),
    st.booleans(),
    st.lists(st.booleans(), min_size=4, max_size=4),
)
def test_sums_are_those_of_all_alignments(
    times: list[float], planned: list[float], numbers: bool, made: list[bool]
) -> None:
    first = min(planned)
    evidence = small_card([100 + t - first for t in times], planned, numbers, made)
    ways = list(alignments(evidence))
    total = sum(chance for _, chance in ways)
    belief = believe(evidence, FIT, RATES)
    assert belief.log_total == pytest.approx(math.log(total), rel=1e-9)
    assert likelihood(evidence, FIT, RATES) == pytest.approx(belief.log_total, rel=1e-12)
    for pairs, _ in ways:  # in order, and no exposure twice
        given_out = [pair for pair in pairs if pair >= 0]
        assert given_out == sorted(set(given_out))
    for file in range(len(times)):
        one = belief.partner[file]
        other = sum(chance for pairs, chance in ways if pairs[file] != one) / total
        assert belief.against[file] == pytest.approx(other, rel=1e-6, abs=1e-12)


def test_numbers_without_a_gap_speak_against_a_lost_exposure() -> None:
    """Exposure 1 seems lost and a file stands near it. Where no number is missing it is likelier to be the file of it."""
    planned = [0.0, 2.0, 4.0]
    doubts = []
    for numbers in ([1, 2, 3], [1, 3, 4]):  # the second way: one file is gone before it
        files = [FileStamp(100 + t, number=n) for t, n in zip((0.0, 2.9, 4.0), numbers, strict=True)]
        evidence = evidence_of(files, [ExposureStamp(p, 0.1) for p in planned])
        doubts.append(believe(evidence, FIT, RATES).against[1])
    assert doubts[0] < doubts[1]
