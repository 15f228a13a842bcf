"""The probabilities of moves and of files, compared with what the model says, counted one by one."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from controller.matching.alignment import Chain, affordable, chain_of
from controller.matching.evidence import Evidence, ExposureStamp, FileStamp, evidence_of
from controller.matching.fit import ClockFit, Clocks, clocks_of
from controller.matching.rates import Rates
from tests.controller.matching.tick import near

RATES = Rates(lost=0.05, never=0.2, extra_hz=0.004, skipped=0.03)
SHUTTERS = (0.01, 0.04, 0.16)


def gate_of(fit: ClockFit, tick_s: float) -> float:
    return 1.0 + tick_s + 6 * fit.spread_s


def shown(evidence: Evidence, fit: ClockFit, exposure: int) -> float:
    since = evidence.planned_s[exposure] - evidence.planned_s[0]
    return float(fit.offset_s + (1 + fit.drift) * since)


def is_near(evidence: Evidence, fit: ClockFit, file: int, exposure: int) -> bool:
    apart = evidence.at_s[file] - shown(evidence, fit, exposure)
    return bool(abs(apart) <= gate_of(fit, evidence.tick_s))


def density(evidence: Evidence, fit: ClockFit, file: int, exposure: int) -> float:
    """Of a file as an exposure: near its time, or in one case of a hundred anywhere within the gate."""
    gate, apart = gate_of(fit, evidence.tick_s), float(evidence.at_s[file]) - shown(evidence, fit, exposure)
    anywhere = 0.99 * near(apart, fit.spread_s, evidence.tick_s) + 0.01 / (2 * gate)
    turned = min(max(exposure + fit.turn, 0), len(evidence.planned_s) - 1)
    alike = int(evidence.alike[file, evidence.which[turned]])
    by_shutter = {-1: 0.01 / 20, 0: 1.0, 1: 0.99}[alike]
    return anywhere * by_shutter * (1.0 if evidence.room[file] else 1e-4)


def extra(evidence: Evidence, fit: ClockFit, file: int, *, after_extra: bool) -> float:
    """Of a file that is no exposure: rare within the run, more common beside it, and likely soon after another."""
    gate, last = gate_of(fit, evidence.tick_s), len(evidence.planned_s) - 1
    at = float(evidence.at_s[file])
    rate = 0.004 * (0.9 if evidence.usual[file] else 0.1 / 20)
    if at < shown(evidence, fit, 0) - gate or at > shown(evidence, fit, last) + gate:
        rate = 0.05
    if after_extra and file:
        rate += 0.5 * math.exp(-abs(at - evidence.at_s[file - 1]) / 5.0) / 5.0
    return rate


@dataclass(frozen=True)
class Case:
    evidence: Evidence
    clocks: Clocks
    chain: Chain


@st.composite
def cases(draw: st.DrawFn) -> Case:
    """Files in the order of time, by one clock or two."""
    count, whole = draw(st.integers(1, 6)), draw(st.booleans())
    steps = draw(st.lists(st.sampled_from([0.7, 2.0, 3.5, 9.0, 40.0]), min_size=count, max_size=count))
    shutters = draw(st.lists(st.sampled_from(SHUTTERS), min_size=count, max_size=count))
    planned = np.cumsum(steps).tolist()
    exposures = [ExposureStamp(at, shutter) for at, shutter in zip(planned, shutters, strict=True)]
    begin, end = 100.0 - 60, 100.0 + planned[-1] + 60
    times = sorted(draw(st.lists(st.floats(begin, end), min_size=2, max_size=6)))
    tick_s = 1.0 if whole else 0.01
    says = draw(st.lists(st.sampled_from([0.0, *SHUTTERS, 4.0]), min_size=len(times), max_size=len(times)))
    first = draw(st.integers(1, 9990)) if draw(st.booleans()) else None
    files = [
        FileStamp(round(math.floor(at / tick_s) * tick_s, 2), said, None if first is None else first + n)
        for n, (at, said) in enumerate(zip(times, says, strict=True))
    ]
    evidence = evidence_of(files, exposures)
    spread, drift = draw(st.sampled_from([0.05, 0.2])), draw(st.sampled_from([0.0, 1e-4]))
    fits = [ClockFit(100.0, drift, spread)]
    if draw(st.booleans()):
        fits.append(ClockFit(100.0 + draw(st.sampled_from([13.0, 31.0])), drift, spread, turn=draw(st.integers(-1, 1))))
    apart = [at - shown(evidence, fit, n) for fit in fits for at in evidence.at_s for n in range(count)]
    assume(all(abs(abs(one) - gate_of(fits[0], evidence.tick_s)) > 1e-6 for one in apart))
    clocks = clocks_of(fits, np.linspace(0.0, -1.5, len(fits)), evidence.tick_s)
    return Case(evidence, clocks, chain_of(evidence, clocks, RATES))


@settings(max_examples=50)
@given(cases())
def test_a_file_has_the_density_of_the_exposures_near_it_and_of_an_extra_one(case: Case) -> None:
    """For each clock, whatever room the states have."""
    evidence, chain = case.evidence, case.chain
    for number, fit in enumerate(case.clocks.fits):
        for file in range(len(evidence.at_s)):
            begin, end = int(chain.first[file, number]), int(chain.last[file, number])
            for exposure in range(len(evidence.planned_s)):
                place = exposure - begin
                found = float(chain.pairs[file, number, place]) if 0 <= place < chain.width else 0.0
                possible = is_near(evidence, fit, file, exposure) and bool(chain.open[file, number])
                wanted = density(evidence, fit, file, exposure) if possible else 0.0
                assert found == pytest.approx(wanted, rel=1e-6, abs=1e-15)
            for after in (0, 1):
                wanted = extra(evidence, fit, file, after_extra=bool(after)) / (end - begin + 1)
                assert float(chain.alone[after, file, number]) == pytest.approx(wanted, rel=1e-9)


@settings(max_examples=50)
@given(cases())
def test_states_have_room_for_the_exposures_near_each_file(case: Case) -> None:
    """In turn: a file far from all keeps what the file before it had."""
    evidence, chain = case.evidence, case.chain
    for number, fit in enumerate(case.clocks.fits):
        room = (0, 0)
        for file in range(len(evidence.at_s)):
            here = [n for n in range(len(evidence.planned_s)) if is_near(evidence, fit, file, n)]
            assert bool(chain.open[file, number]) is bool(here)
            room = (here[0], here[-1] + 1) if here else room
            assert (int(chain.first[file, number]), int(chain.last[file, number])) == room


@settings(max_examples=20)
@given(cases())
def test_a_move_is_what_it_skips_and_the_price_of_another_clock(case: Case) -> None:
    """Another clock may only begin at a file that is near an exposure by it."""
    chain, skips = case.chain, case.chain.skips
    clocks, wide = len(case.clocks.fits), case.chain.width + 1

    def count(file: int, state: int) -> int | None:
        """How many exposures there were; None if the state is not one."""
        clock, place = divmod(state, wide)
        gone = int(chain.first[file, clock]) + place
        return gone if gone <= chain.last[file, clock] else None

    def between(before: int, after: int, gap: int) -> float:
        return float(skips.between(np.array([before]), np.array([after]), gap)[0])

    whole, last = len(case.evidence.planned_s), len(case.evidence.at_s) - 1
    for state in range(clocks * wide):
        gone = count(0, state)
        wanted = 0.0 if gone is None else between(0, gone, -1) * math.exp(case.clocks.weights[state // wide])
        assert chain.start()[state] == pytest.approx(wanted, rel=1e-9)
        gone = count(last, state)
        wanted = 0.0 if gone is None else between(gone, whole, -1)
        assert chain.ending()[state] == pytest.approx(wanted, rel=1e-9)
    moves = dict(chain.moves())
    back = dict(chain.moves_back())
    assert list(moves) == list(range(1, last + 1)) == list(back)[::-1]
    for file, move in moves.items():
        assert np.array_equal(move, back[file])
        for one in range(clocks * wide):
            for other in range(clocks * wide):
                before, after = count(file - 1, one), count(file, other)
                wanted = 0.0
                if before is not None and after is not None:
                    clock, new = one // wide, other // wide
                    wanted = between(before, after, int(case.evidence.gaps[file]))
                    if clock != new:
                        wanted *= math.exp(case.clocks.jumps[clock, new]) * bool(chain.open[file, new])
                if before is not None:  # from what is no state nothing comes
                    assert move[one, other] == pytest.approx(wanted, rel=1e-9, abs=1e-300)


@pytest.mark.parametrize("clocks", [2, 8])
def test_of_many_clocks_on_a_small_card_all_are_weighed_and_on_a_large_one_the_likeliest(clocks: int) -> None:
    exposures = [ExposureStamp(float(n), 0.01) for n in range(600)]
    fits = [ClockFit(100.0 + 60 * n, 0.0, 0.5) for n in range(clocks)]
    for files, all_weighed in ((20, True), (20_000, False)):
        evidence = evidence_of([FileStamp(100.0 + n * 600 / files) for n in range(files)], exposures)
        kept = affordable(evidence, fits)
        assert kept[0] is fits[0]
        assert (kept == fits) is (all_weighed or clocks == 2)
        assert kept == fits[: len(kept)]
