"""The tale of a rehearsal is in order, also within one moment."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from controller.report.tale import CAUSES_FIRST, TaleLine, in_order

LINES = st.lists(st.builds(TaleLine, st.integers(0, 4), st.sampled_from(CAUSES_FIRST), st.sampled_from("abc")))


@given(LINES)
def test_what_acts_comes_before_what_follows_from_it(lines: list[TaleLine]) -> None:
    """No line is lost; times never go back; at one moment nobody comes before whoever caused their line."""
    told = in_order(lines)
    key = [(line.at_ns, CAUSES_FIRST.index(line.who)) for line in told]
    assert key == sorted(key)
    assert sorted(map(repr, told)) == sorted(map(repr, lines))
    for who in CAUSES_FIRST:  # what one of them says at one moment stays in the order in which it was said
        for at_ns in range(5):
            assert [x for x in told if (x.at_ns, x.who) == (at_ns, who)] == [
                x for x in lines if (x.at_ns, x.who) == (at_ns, who)
            ]
