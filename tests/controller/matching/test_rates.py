"""What a card says of how often things go wrong, of which clock is likely, and the order in which it was shot."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.matching.evidence import ExposureStamp, FileStamp, evidence_of
from controller.matching.fit import ClockFit, priors_of
from controller.matching.pairing import Match, Pairing
from controller.matching.rates import rates_of, shooting_order


@st.composite
def readings(draw: st.DrawFn) -> tuple[list[ExposureStamp], list[int], list[int]]:
    """Exposures, the exposure of each file in order (-1 for an extra one), and the numbers of the files."""
    made = draw(st.lists(st.booleans(), min_size=1, max_size=8))
    step_s = draw(st.sampled_from([1.0, 30.0]))
    exposures = [ExposureStamp(step_s * n, 0.1, one) for n, one in enumerate(made)]
    partners: list[int] = []
    for exposure in draw(st.lists(st.integers(0, len(made) - 1), unique=True).map(sorted)):
        partners += [-1] * draw(st.integers(0, 2)) + [exposure]
    partners += [-1] * draw(st.integers(0 if partners else 1, 2))
    numbers = np.cumsum([1 + draw(st.integers(0, 3)) for _ in partners]).tolist()
    return exposures, partners, numbers


@given(readings(), st.booleans())
def test_rates_are_counted_with_a_few_usual_cases(
    reading: tuple[list[ExposureStamp], list[int], list[int]], named: bool
) -> None:
    exposures, partners, numbers = reading
    files = [FileStamp(float(n), number=number if named else None) for n, number in enumerate(numbers)]
    evidence = evidence_of(files, exposures)
    known_gaps = evidence.gaps.tolist()
    lost = never = skipped = known = gone = 0
    for file, exposure in enumerate(partners):
        if exposure < 0:
            continue
        missed = sum(one.made for one in exposures[gone:exposure])
        lost += missed
        if known_gaps[file] >= 0:
            known += missed
            never += max(missed - known_gaps[file], 0)
            skipped += known_gaps[file] > exposure - gone
        gone = exposure + 1
    lost += sum(one.made for one in exposures[gone:])
    paired = [file for file, exposure in enumerate(partners) if exposure >= 0]
    extra = sum(exposure < 0 for exposure in partners[paired[0] : paired[-1]]) if paired else 0
    run_s = max(exposures[-1].at_s - exposures[0].at_s, 60.0)
    found = rates_of(evidence, np.array(partners))
    made = sum(one.made for one in exposures)
    assert found.lost == pytest.approx(min((lost + 0.5) / (made + 50), 0.5))
    assert found.never == pytest.approx((never + 0.3) / (known + 1))
    assert found.extra_hz == pytest.approx((extra + 0.3) / (run_s + 60))
    assert found.skipped == pytest.approx((skipped + 1) / (len(files) + 50))


def test_no_more_than_half_counts_as_lost() -> None:
    evidence = evidence_of([FileStamp(0.0)], [ExposureStamp(float(n), 0.1) for n in range(400)])
    assert rates_of(evidence, np.array([0])).lost == 0.5


@given(st.permutations(range(6)), st.lists(st.integers(0, 6), max_size=4))
def test_files_are_in_the_order_of_their_exposures_and_extra_ones_stay_behind_the_file_before(
    exposures: list[int], extra_after: list[int]
) -> None:
    partners = list(exposures)
    for place in sorted(extra_after, reverse=True):
        partners.insert(place, -1)
    order = shooting_order(np.array(partners)).tolist()
    assert sorted(order) == list(range(len(partners)))
    assert [partners[file] for file in order if partners[file] >= 0] == list(range(6))
    for before, file in zip([None, *order], order, strict=False):
        if partners[file] < 0:
            assert before == (file - 1 if file else None)


@pytest.mark.parametrize(
    ("ahead_s", "off_s"),
    [(0.0, 0.0), (3600.0, 0.0), (-5400.0, 0.0), (900.0, 0.0), (60.0, 60.0), (-7200.0 - 300, 300.0), (53_900.0, 100.0),
     (54_000.0, None), (-54_000.0, None), (5e6, None)],
)  # fmt: skip
def test_a_correct_clock_is_near_that_of_a_zone_or_anything_at_all(ahead_s: float, off_s: float | None) -> None:
    """Zones are quarters of an hour up to 14 hours from UTC (tz database); minutes off is our own choice, no source."""
    anything = 0.1 / 3e7
    near = 0.0 if off_s is None else 0.9 * math.exp(-off_s / 120) / 240
    first_s = 1.9e9
    (found,) = priors_of([ClockFit(first_s + ahead_s, 0.0, 0.1)], first_s)
    assert found == pytest.approx(math.log(near + anything), abs=1e-5)


@pytest.mark.parametrize(
    ("by_s", "tick_s", "told"),
    [(0.4, 0.01, False), (0.6, 0.01, True), (-0.6, 0.01, True), (0.4, 1.0, False), (0.6, 1.0, True), (-900.0, 1.0, True)],
)
def test_a_change_of_the_clock_is_told_from_half_a_second_on(by_s: float, tick_s: float, told: bool) -> None:
    """Between the paired files around it; a file that is nobody's does not count."""
    fits = (ClockFit(100.0, 0.0, 0.1), ClockFit(100.0 + by_s, 0.0, 0.1, turn=1))
    matches = (Match(None, 0.0), Match(0, 0.0), Match(None, 0.0), Match(1, 0.0), Match(2, 0.0))
    pairing = Pairing(matches, fits, (1, 0, 1, 1, 1), (100.0, 101.0, 102.0), (0, 1, 2, 3, 4), tick_s)
    found = [(before, after, round(seconds, 6)) for before, after, seconds in pairing.changes()]
    assert found == ([(1, 3, by_s)] if told else [])
    assert pairing.fit is fits[0]
    assert [pairing.out_of_step(file) for file in range(5)] == [True, False, True, True, True]
    nobody = Pairing((Match(None, 0.0),) * 2, fits, (1, 0), (100.0,), (0, 1), tick_s)
    assert nobody.fit is fits[1]
    assert nobody.changes() == []
    assert Pairing(matches, fits, (0,) * 5, (), (0, 1, 2, 3, 4), tick_s, any_shutter=True).out_of_step(0)
