"""Tables whose keys are names from a library, the system or another module.

A misspelt key would be a sentence that nobody ever reads.
"""

from __future__ import annotations

import errno
import sqlite3
from dataclasses import fields
from typing import get_args

import pytest
from pydantic_core.core_schema import ErrorType

from controller import reading
from controller.calibration import pair_finding
from controller.calibration.pair import UncertaintySource
from controller.calibration.validity import State
from controller.kit import load
from controller.planning.order import Order
from controller.ports import traffic
from controller.report import kit_figures, plan_words
from controller.report.account_words import headline
from controller.report.verdict import LACKS, Lack, SetStanding, Verdict
from controller.session import database, salvage
from controller.session.migrations import SESSION_VERSION, columns_of
from controller.session.rows import DoubtReason, ShotOutcome
from protocol.framing import FrameCounters
from tests.end_to_end.whole_runs import kit_of

KIT = kit_of()


def test_errors_of_the_system_are_called_as_the_system_calls_them() -> None:
    """Source: POSIX.1-2017, <errno.h>, as in this Python."""
    assert set(reading.CAUSES) <= set(errno.errorcode.values())


def test_errors_of_the_database_are_called_as_sqlite_calls_them() -> None:
    """Source: sqlite.org/rescode.html, primary result codes (8 bits), as in this Python."""
    primary = {name for name in dir(sqlite3) if name.startswith("SQLITE_") and name.count("_") == 1}
    assert set(database.CAUSES) <= primary
    assert all(getattr(sqlite3, name) < 2**8 for name in database.CAUSES)


def test_mistakes_in_a_kit_are_called_as_pydantic_calls_them() -> None:
    assert set(load.WANTED) <= set(get_args(ErrorType))


def test_every_way_for_a_frame_to_be_damaged_has_its_words() -> None:
    assert set(traffic.WHY) == {each.name for each in fields(FrameCounters)} - {"good"}


def test_every_table_of_a_session_has_its_noun_and_its_judge() -> None:
    assert set(salvage.NOUNS) == set(salvage.BELIEVABLE) == set(columns_of(SESSION_VERSION))


@pytest.mark.parametrize("standing", SetStanding)
def test_every_standing_of_a_set_has_its_sentence(standing: SetStanding) -> None:
    found = Verdict(standing, frozenset(), frozenset({(0, 0)}), {}, frozenset(), 1, losses=("a loss",))
    sentence = headline(found, KIT)
    assert sentence[0].isupper()
    assert sentence.endswith(".")
    others = [headline(Verdict(other, frozenset(), frozenset(), {}, frozenset(), 0), KIT) for other in SetStanding]
    assert len(set(others)) == len(SetStanding)


def test_every_way_for_an_exposure_to_be_missing_is_named() -> None:
    assert set(LACKS) == {None, *DoubtReason} | {outcome for outcome in ShotOutcome if not outcome.made}
    assert set(LACKS.values()) | {Lack.NOT_TRIED} == set(Lack)


def test_every_order_state_and_part_of_a_calibration_has_its_words() -> None:
    assert set(plan_words.ORDER_WORDS) == set(Order)
    assert set(pair_finding.PARTS) == set(UncertaintySource)
    assert set(kit_figures.STATE_WORDS) == set(State)
