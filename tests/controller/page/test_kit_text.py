"""Values of the form in the text of a kit: what they state, and what stays."""

import json
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.cli.kit_worker import answer
from controller.errors import InputError
from controller.kit.draft import Draft, kit_text
from controller.page.kit_form import changes, fields, key_of, shown_value
from controller.page.kit_text import value_at, with_values

BLANK = kit_text(Draft(None, None, None, None))
NOTED = BLANK + '\n# the head of the ledge\n[notes]\nfor = "#1"  # a table that nobody knows\n'
TYPED = {"number": "12.5", "whole": "32", "numbers": "-2, 0, 2", "text": 'Ledge "9" # \\', "switch": "false"}


@settings(max_examples=40, deadline=None)
@given(st.lists(st.sampled_from(sorted(fields())), min_size=1, max_size=12, unique=True))
def test_every_value_arrives_and_the_rest_stays(keys: list[str]) -> None:
    typed = {key: TYPED.get(field.kind, field.choices[-1:] and field.choices[-1]) for key, field in fields().items()}
    chosen = {key: str(typed[key]) for key in keys}
    text = with_values(NOTED, "ledge.toml", changes(tomllib.loads(NOTED), chosen))
    tables = tomllib.loads(text)
    assert {key: shown_value(value_at(tables, key)) for key in keys} == chosen
    assert tables["notes"] == {"for": "#1"}
    assert all(
        note in text for note in ("# the head of the ledge", "# a table that nobody knows", "# 1.8 degree motor"[:5])
    )
    back = with_values(text, "ledge.toml", changes(tables, dict.fromkeys(keys, "")))
    assert all(value_at(tomllib.loads(back), key) is None for key in keys)


def test_wrong_values_give_the_programs_own_sentences() -> None:
    wrong = with_values(BLANK, "ledge.toml", changes({}, {"head.pan.gear_ratio": "many", "board.baud": "7"}))
    mistakes = json.loads(json.dumps(answer(json.dumps({"text": wrong, "name": "ledge.toml", "path": None}))))["mistakes"]
    by_key = {key_of(each, "ledge.toml", list(fields())): each for each in mistakes}
    assert "a number" in by_key["head.pan.gear_ratio"]
    assert "from 1200" in by_key["board.baud"]
    assert "is missing" in by_key["camera.pixels_wide"]


def test_a_table_in_the_way_is_refused() -> None:
    with pytest.raises(InputError, match=r"head\.pan\.gear_ratio"):
        with_values("head = 3\n", "ledge.toml", {"head.pan.gear_ratio": 3})
