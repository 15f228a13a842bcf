"""What to do about a set: worst first, each thing once."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.inspection.inspected import FrameFault, Inspected, LinkVerdict
from controller.inspection.limits import Limits
from controller.inspection.set_words import todo_of
from controller.planning.request import RegionKind, Request
from tests.controller.inspection.inspected_sets import blemished, inspected_of, plan_of

COUNT = 6


@pytest.fixture(scope="module")
def inspected() -> Inspected:
    return inspected_of(plan_of(14.0, Request(region=RegionKind.BAND, pitch_from_deg=-10, pitch_to_deg=10)))


@given(st.dictionaries(st.integers(0, COUNT - 1), st.sampled_from(FrameFault), min_size=1))
def test_faults_come_worst_first_and_each_once(inspected: Inspected, faults: dict[int, FrameFault]) -> None:
    found = blemished(inspected, faults)
    sentences = todo_of(found.frames, found.links, Limits())
    order = list(FrameFault)
    ranks = [next(order.index(fault) for fault in order if sentence.endswith(f": {fault}.")) for sentence in sentences]
    assert ranks == sorted(ranks)
    assert len(sentences) == len(set(sentences)) == len(faults)


@given(st.floats(0, 1))
def test_links_are_named_after_the_faults_if_they_are_weak_or_much_differs(inspected: Inspected, differs: float) -> None:
    weak = replace(inspected.links[0], verdict=LinkVerdict.WEAK)
    moving = replace(inspected.links[1], differs=differs)
    bare = replace(inspected.links[2], verdict=LinkVerdict.NOTHING_TO_SEE, differs=differs)
    soft = blemished(inspected, {0: FrameFault.SOFT})
    sentences = todo_of(soft.frames, [moving, bare, weak], Limits(differs=0.3))
    assert sentences[1].startswith(f"Frames {weak.first} and {weak.second}: ")
    assert len(sentences) == 2 + (differs > 0.3)
    assert f"Frames {moving.first} and {moving.second} differ in" in " ".join(sentences) or differs <= 0.3


def test_nothing_is_to_be_done_about_a_sound_set(inspected: Inspected) -> None:
    assert todo_of(inspected.frames, inspected.links, Limits(differs=0.5)) == []
