"""Leases as values: what a press may do, whatever arrives of it and in whatever order."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from controller.capture.lease import LASTS_NS, Lease, Leases
from protocol.units import MS

FIRST = Lease(press=1, number=1, pan=1, tilt=0, speed=0, renewed_ns=0)
times = st.integers(0, 3000).map(lambda ms: ms * MS)
leases = st.builds(
    Lease,
    press=st.integers(1, 4),
    number=st.integers(1, 6),
    pan=st.sampled_from([-1, 0, 1]),
    tilt=st.sampled_from([-1, 0, 1]),
    speed=st.integers(0, 2),
    renewed_ns=times,
)
arrivals = st.lists(st.tuples(st.integers(0, 500), st.one_of(leases, st.integers(1, 4))), max_size=30)


def test_a_renewal_lasts_and_then_the_press_is_over() -> None:
    held = Leases().renewed(FIRST, 0)
    assert held.at(LASTS_NS - 1).current == FIRST
    out = held.at(LASTS_NS)
    assert out == Leases(None, 1)
    assert out.renewed(replace(FIRST, number=2, renewed_ns=LASTS_NS), LASTS_NS) == out
    again = replace(FIRST, press=2, renewed_ns=LASTS_NS)
    assert out.renewed(again, LASTS_NS).current == again


def test_an_overtaken_renewal_changes_nothing_and_a_late_one_ends_its_press() -> None:
    held = Leases().renewed(replace(FIRST, number=5), 0)
    assert held.renewed(replace(FIRST, number=4, renewed_ns=100), 100) == held
    assert held.renewed(replace(FIRST, number=6, renewed_ns=0), LASTS_NS - 1).current is not None
    late = Leases().renewed(replace(FIRST, press=3, renewed_ns=0), LASTS_NS)
    assert late == Leases(None, 3)


def test_a_renewal_cannot_turn_elsewhere_or_faster() -> None:
    held = Leases().renewed(FIRST, 0)
    for other in ({"pan": -1}, {"tilt": 1}, {"speed": 1}, {"pan": 0}):
        assert held.renewed(replace(FIRST, number=2, **other), 1) == Leases(None, 1)


def test_a_stamp_from_the_future_buys_no_time() -> None:
    held = Leases().renewed(replace(FIRST, renewed_ns=10**15), 5)
    assert held.current is not None
    assert held.current.ends_ns == 5 + LASTS_NS


@given(arrivals)
def test_whatever_arrives_motion_ends_and_a_press_that_is_over_stays_over(
    arrived: list[tuple[int, Lease | int]],
) -> None:
    now_ns, held = 0, Leases()
    dead: set[int] = set()
    for pause_ms, what in arrived:
        now_ns += pause_ms * MS
        before = held.at(now_ns)
        held = before.given_back(what) if isinstance(what, int) else before.renewed(what, now_ns)
        dead |= {what} if isinstance(what, int) else set()
        current = held.current
        assert held.over >= before.over
        if current is None:
            continue
        assert current.press > held.over
        assert current.press not in dead
        assert now_ns < current.ends_ns <= now_ns + LASTS_NS
        assert current.way != (0, 0)
        if before.current is not None and current.press == before.current.press:
            assert current.moves == before.current.moves
            assert current.number >= before.current.number
        dead |= set(range(1, current.press))
    assert held.at(now_ns + LASTS_NS).current is None
