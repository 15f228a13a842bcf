"""Sessions whose own clock jumped: a computer without a clock battery starts in 1970 and is set right later, or never.

The work stays bounded, and no pair that is called sure is wrong.
"""

from __future__ import annotations

import numpy as np
import pytest

from controller.matching import alignment
from controller.matching.evidence import ExposureStamp, FileStamp
from controller.matching.pairing import pair_up

YEAR_S, SINCE_1970_S = 3.156e7, 1.77e9
MOST_MOVES = 2_000_000  # a tenth of the program's own limit, so that small cards reach it
MOST_WEIGHED = 80  # times that a card is weighed, at most


@pytest.fixture
def work(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The moves of each weighing of a card; each is bounded, unless there is only one clock."""
    moves: list[int] = []
    real = alignment.chain_of

    def counted(*given: object) -> alignment.Chain:
        chain = real(*given)  # type: ignore[arg-type]
        states = len(chain.clocks.fits) * (chain.width + 1)
        moves.append(len(chain.first) * states**2)
        assert moves[-1] <= MOST_MOVES or len(chain.clocks.fits) == 1
        assert chain.width <= alignment.MOST_WINDOW
        return chain

    monkeypatch.setattr(alignment, "chain_of", counted)
    monkeypatch.setattr(alignment, "MOST_MOVES", MOST_MOVES)
    return moves


def leaps(kind: str, count: int) -> np.ndarray:
    """The error of the session's clock at each exposure."""
    off = np.zeros(count)
    match kind:
        case "set right":
            off[: count // 3] = -SINCE_1970_S
        case "lost":
            off[count // 2 :] = -SINCE_1970_S
        case "a year":
            off[count // 2 :] = YEAR_S
        case "one exposure":
            off[count // 2] = YEAR_S
        case "twice":
            off[count // 3 :] = YEAR_S
            off[2 * count // 3 :] = -SINCE_1970_S
        case "every time":
            off[:] = np.arange(count) * YEAR_S
    return off


@pytest.mark.parametrize("numbered", [True, False])
@pytest.mark.parametrize("kind", ["set right", "lost", "a year", "one exposure", "twice", "every time"])
def test_the_work_is_bounded_and_nothing_sure_is_wrong(kind: str, numbered: bool, work: list[int]) -> None:
    random = np.random.default_rng(3)
    count = 90
    at = 1.78e9 + np.cumsum(np.where(np.arange(count) % 5 == 0, random.uniform(2, 4, count), 0.4))
    told = at + leaps(kind, count)
    order = np.argsort(told, kind="stable")
    shutter = np.tile([1 / 8, 1 / 15, 1 / 30, 1 / 60, 1 / 125], count // 5)
    exposures = [ExposureStamp(float(told[one]), float(shutter[one])) for one in order]
    shown = np.floor(at + random.normal(0, 0.05, count))
    files = [FileStamp(float(shown[n]), float(shutter[n]), n + 1 if numbered else None) for n in range(count)]
    pairing = pair_up(files, exposures, clock_known=True)
    assert len(work) <= MOST_WEIGHED
    for file, match in enumerate(pairing.matches):
        if match.sure and match.exposure is not None:
            assert order[match.exposure] == file
    if kind in {"set right", "a year"} and numbered:  # a clock that is set once, forward, causes no trouble
        assert pairing.related
        assert all(match.sure for match in pairing.matches)


def test_hundreds_of_exposures_that_might_be_anything(work: list[int]) -> None:
    """Twenty a second, all alike: every clock explains them about equally well."""
    at = 1.78e9 + np.arange(320) * 0.05
    pairing = pair_up([FileStamp(float(one)) for one in np.floor(at)], [ExposureStamp(float(one), 0.01) for one in at])
    assert max(work) > MOST_MOVES // 4
    assert not any(match.sure for match in pairing.matches)
