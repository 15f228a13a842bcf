"""Whatever effect the host is killed at, with whatever other faults: the set is completed, and every claim is true."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.planning.plan import Plan
from sim.rig import NOTHING
from sim.scenario import library
from tests.end_to_end.kills import STRIDE, Outcome, capture_with_kills, sphere_of

LEAST_KILLS_EACH = 18


@pytest.fixture(scope="module")
def plan() -> Plan:
    """As small as can be: with forty frames the runs are killed in the same states, before the same effects."""
    return sphere_of(16)


def holds(outcome: Outcome) -> None:
    assert outcome.complete
    assert outcome.wrong == []
    assert outcome.kills >= LEAST_KILLS_EACH
    # Suspect exposures are repeated on purpose. Otherwise at most one is made twice for each kill, and usually far fewer.
    assert outcome.twice - outcome.retaken <= outcome.kills


@pytest.mark.long
@pytest.mark.parametrize("first", range(STRIDE))
def test_killed_at_every_effect(plan: Plan, tmp_path: Path, first: int) -> None:
    """The first life ends at each effect of a stride, the others a stride later: no effect is left out."""
    holds(capture_with_kills(plan, NOTHING, first, tmp_path))


@pytest.mark.long
@pytest.mark.parametrize("first", [0, 11, 19])
@pytest.mark.parametrize("name", sorted(library()))
def test_killed_while_something_else_goes_wrong(plan: Plan, tmp_path: Path, name: str, first: int) -> None:
    holds(capture_with_kills(plan, library()[name], first, tmp_path, seed=first + 1))
