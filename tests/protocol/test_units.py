"""The order of command ids, as serial numbers of 32 bits: RFC 1982, "Serial Number Arithmetic", section 3."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.units import ID_SPAN, NO_COMMAND, CommandId, is_after, next_id

LAST = ID_SPAN - 1
IDS = (st.integers(1, LAST) | st.sampled_from((1, 2, ID_SPAN // 2, LAST - 1, LAST))).map(CommandId)


def by_the_rfc(i1: int, i2: int) -> bool:
    """Section 3.2, word for word, with SERIAL_BITS = 32: whether i1 is greater than i2."""
    half = 2 ** (32 - 1)
    return (i1 < i2 and i2 - i1 > half) or (i1 > i2 and i1 - i2 < half)


@given(IDS, IDS)
def test_compares_as_the_rfc_does(a: CommandId, b: CommandId) -> None:
    assert is_after(a, b) == by_the_rfc(a, b)


@given(IDS, st.integers(1, 1000))
def test_what_is_given_out_later_is_after(begin: CommandId, count: int) -> None:
    later = begin
    for _ in range(count):
        later = next_id(later)
    assert is_after(later, begin)
    assert not is_after(begin, later)
    assert later != NO_COMMAND


@pytest.mark.parametrize(("before", "after"), [(0, 1), (1, 2), (LAST - 1, LAST), (LAST, 1)])
def test_the_next_one(before: int, after: int) -> None:
    assert next_id(CommandId(before)) == after


@given(IDS)
def test_every_id_is_after_none_and_none_is_after_no_id(command_id: CommandId) -> None:
    assert is_after(command_id, NO_COMMAND)
    assert not is_after(NO_COMMAND, command_id)
    assert not is_after(command_id, command_id)
    assert not is_after(NO_COMMAND, NO_COMMAND)
