"""The sums over all alignments, compared with an enumeration of all alignments."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.matching.alignment import Chain, Skips, believe, chain_of
from controller.matching.evidence import Evidence, ExposureStamp, FileStamp, evidence_of
from controller.matching.fit import ClockFit, Clocks, clocks_of
from controller.matching.rates import Rates

FIT, OTHER = ClockFit(100.0, 0.0, 0.3), ClockFit(102.0, 0.0, 0.3)
RATES = Rates()


def one_clock() -> Clocks:
    return clocks_of([FIT], np.zeros(1), 0.1)


def two_clocks() -> Clocks:
    return clocks_of([FIT, OTHER], np.zeros(2), 0.1)


def small_card(times: list[float], planned: list[float], numbers: bool, made: list[bool]) -> Evidence:
    files = [FileStamp(t, number=3 * n + 1 if numbers else None) for n, t in enumerate(sorted(times))]
    return evidence_of(files, [ExposureStamp(p, 0.1, m) for p, m in zip(sorted(planned), made, strict=False)])


def alignments(chain: Chain) -> Iterator[tuple[tuple[int, ...], float]]:
    """Each alignment (the exposure of each file, or -1; some come in several ways) and its probability."""
    moves = [chain.start()[None, :], *(move for _, move in chain.moves())]
    ending, wide = chain.ending(), chain.width + 1

    def onward(file: int, state: int, pairs: tuple[int, ...], weight: float) -> Iterator[tuple[tuple[int, ...], float]]:
        again = int(bool(pairs) and pairs[-1] < 0)
        if file == len(moves):
            yield pairs, weight * ending[state]
            return
        for target in np.flatnonzero(moves[file][state]).tolist():
            clock, place = divmod(target, wide)
            mine = weight * moves[file][state, target]
            yield from onward(file + 1, target, (*pairs, -1), mine * chain.alone[again, file, clock])
            if place < chain.width and chain.pairs[file, clock, place] > 0:
                one = int(chain.first[file, clock]) + place
                yield from onward(file + 1, target + 1, (*pairs, one), mine * chain.pairs[file, clock, place])

    yield from onward(0, 0, (), 1.0)


moments = st.floats(0, 6).map(lambda value: round(value, 1))


@given(
    st.lists(moments, min_size=1, max_size=4),
    st.lists(moments, min_size=1, max_size=4),
    st.booleans(),
    st.lists(st.booleans(), min_size=4, max_size=4),
    st.booleans(),
)
def test_sums_are_those_of_all_alignments(
    times: list[float], planned: list[float], numbers: bool, made: list[bool], set_anew: bool
) -> None:
    first = min(planned)
    evidence = small_card([100 + t - first for t in times], planned, numbers, made)
    clocks = two_clocks() if set_anew else one_clock()
    ways = list(alignments(chain_of(evidence, clocks, RATES)))
    total = sum(chance for _, chance in ways)
    belief = believe(evidence, clocks, RATES)
    assert belief.log_total == pytest.approx(math.log(total), rel=1e-9)
    for pairs, _ in ways:  # in order, with no exposure twice
        given_out = [pair for pair in pairs if pair >= 0]
        assert given_out == sorted(set(given_out))
    for file in range(len(times)):
        one = belief.partner[file]
        other = sum(chance for pairs, chance in ways if pairs[file] != one) / total
        assert belief.against[file] == pytest.approx(other, rel=1e-6, abs=1e-12)


@given(st.lists(st.tuples(st.booleans(), st.booleans()), min_size=1, max_size=8), st.integers(-1, 9))
def test_what_skips_take_is_the_product_of_what_each_kind_takes(kinds: list[tuple[bool, bool]], gap: int) -> None:
    """However many tables there are: here counted one exposure at a time."""
    exposures = [ExposureStamp(float(n), 0.1, made, confirmed) for n, (made, confirmed) in enumerate(kinds)]
    files = [FileStamp(0.0, number=1), FileStamp(1.0, number=2), FileStamp(2.0, number=13)]
    skips = Skips.of(evidence_of(files, exposures), RATES)
    for before in range(len(kinds) + 1):
        for after in range(len(kinds) + 1):
            found = float(skips.between(np.array([before]), np.array([after]), gap)[0])
            if after < before:
                assert found == 0
                continue
            made = sum(made for made, _ in kinds[before:after])
            confirmed = sum(made and sure for made, sure in kinds[before:after])
            wanted = RATES.lost * 0.8 ** (made - 1) if made else 1 - RATES.lost
            wanted *= 0.5 ** (after - before - made)
            if gap >= 0:
                unused, strange = max(made - gap, 0), max(gap - (after - before), 0)
                if made:
                    wanted *= RATES.never * 0.8 ** (unused - 1) if unused else 1 - RATES.never
                wanted *= 1e-3 if confirmed > gap else 1.0
                wanted *= RATES.skipped * 0.8 ** (strange - 1) if strange else 1.0
            assert found == pytest.approx(wanted)


def test_numbers_without_a_gap_speak_against_a_lost_exposure() -> None:
    """Exposure 1 seems lost, and a file is near it. If no number is missing, the file is more likely its own."""
    planned = [0.0, 2.0, 4.0]
    doubts = []
    for numbers in ([1, 2, 3], [1, 3, 4]):  # the second way: one file before it is missing
        files = [FileStamp(100 + t, number=n) for t, n in zip((0.0, 2.9, 4.0), numbers, strict=True)]
        evidence = evidence_of(files, [ExposureStamp(p, 0.1) for p in planned])
        doubts.append(believe(evidence, one_clock(), RATES).against[1])
    assert doubts[0] < doubts[1]


def test_a_change_by_an_hour_costs_less_than_one_to_a_zone_and_that_less_than_any_other() -> None:
    fits = [ClockFit(offset, 0.0, 0.1) for offset in (0.0, 3600.0, 1800.0, 7.0)]
    prices = clocks_of(fits, np.zeros(4), 0.01).jumps[0]
    assert prices[0] == 0
    assert prices[0] > prices[1] > prices[2] > prices[3]
    turned = clocks_of([fits[0], ClockFit(0.0, 0.0, 0.1, turn=1)], np.zeros(2), 0.01).jumps
    assert turned[0, 1] < 0


def test_files_that_no_order_allows_end_in_doubt_and_not_in_an_error() -> None:
    """Thirty files at one moment by a clock without fractions, and three exposures far apart."""
    files = [FileStamp(100.0 + (n % 2), number=n + 1) for n in range(30)]
    evidence = evidence_of(files, [ExposureStamp(p, 0.1) for p in (0.0, 1000.0, 2000.0)])
    belief = believe(evidence, one_clock(), RATES)
    assert np.isfinite(belief.log_total)
    assert (belief.against <= 1 + 1e-9).all()


def test_files_that_go_far_back_by_one_clock_are_less_probable_than_any_card_in_order() -> None:
    """So another clock, by which they go on in turn, explains them better, whatever a change of clocks costs."""
    exposures = [ExposureStamp(10.0 * n, 0.1) for n in range(120)]
    places = [*range(90, 110), *range(5, 25)]
    evidence = evidence_of([FileStamp(100.0 + 10 * at, number=n + 1) for n, at in enumerate(places)], exposures)
    assert evidence.numbered
    broken = believe(evidence, one_clock(), RATES)
    assert np.isfinite(broken.log_total)
    assert broken.log_total < -600
    set_back = ClockFit(100.0 - 10 * 105, 0.0, 0.3)
    both = believe(evidence, clocks_of([FIT, set_back], np.zeros(2), 0.1), RATES)
    assert both.log_total > broken.log_total + 300
    assert both.clock.tolist() == [0] * 20 + [1] * 20
    assert both.partner.tolist() == list(range(90, 110)) + list(range(110, 120)) + [-1] * 10
