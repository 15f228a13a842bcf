"""Valid and invalid scenarios, and the line of the error."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.incidents import BEGIN, END
from sim.person import PersonSpec
from sim.scenario import KINDS, Fault, ScenarioError, library, parse
from sim.world import KEYS

GOOD = """
about = "Something."

[[fault]]
kind = "line-cut"
at_s = 40
for_s = 15.5

[[fault]]
kind = "steps-lost"
after_exposure = 3
axis = "tilt"
steps = -12
"""


def test_a_scenario_is_read_whole() -> None:
    scenario = parse(GOOD, "good")
    assert scenario.about == "Something."
    assert scenario.faults == (
        Fault("line-cut", at_s=40, for_s=15.5),
        Fault("steps-lost", after_exposure=3, axis="tilt", steps=-12),
    )
    assert scenario.lines == (4, 9)


def test_the_library_has_every_kind_and_says_what_each_scenario_is_about() -> None:
    known = library()
    assert {fault.kind for scenario in known.values() for fault in scenario.faults} == set(KINDS)
    for name, scenario in known.items():
        assert scenario.about.endswith("."), name
        assert scenario.faults or scenario.world, name


def test_a_person_is_read_with_habits() -> None:
    scenario = parse(GOOD + '\n[person]\nanswers_s = [5, 60]\ncommands = ["pause"]\n', "good")
    assert scenario.person == PersonSpec(answers_s=(5, 60), commands=("pause",))
    assert len(scenario.faults) == 2


@pytest.mark.parametrize("habit", [
    "mood = 1", "answers_s = 5", "answers_s = [5]", "answers_s = [9, 5]", "answers_s = [0, 5]", "comes_share = 2",
    'commands = "pause"', "commands = [1]", "types_ahead = -1", "within_s = true", "leaves_s = [nan, 1]",
])  # fmt: skip
def test_a_habit_that_makes_no_sense_is_told_with_its_line(habit: str) -> None:
    with pytest.raises(ScenarioError, match=r"good: line 15: "):
        parse(GOOD + f"[person]\n{habit}\n", "good")


def test_a_world_is_read_by_its_keys() -> None:
    world = "[world]\nbuffer_exposures = 2\nwrite_ms = 5e2\npan_limits_deg = [-9, 90]\n"
    assert parse(world, "good").world == {"buffer_exposures": 2, "write_ms": 500.0, "pan_limits_deg": (-9, 90)}
    assert parse(GOOD, "good").world == {}


@pytest.mark.parametrize(("key", "words"), [
    ("mood = 1", "mood is not known"), ("card_exposures = -1", "from 0 to"), ("card_exposures = 2.5", "whole number"),
    ("card_exposures = true", "a number"), ("misfire_share = nan", "a number"), ("misfire_share = 1.01", "from 0 to 1"),
    ("bounce_ms = 1e9", "to 10000 ms"), ("write_ms = 5", "without buffer_exposures"), ("holding_nm = 1", "no_load_deg_s"),
    ("pan_limits_deg = 5", "two numbers"), ("pan_limits_deg = [5]", "two numbers"), ("pan_limits_deg = [5, 5]", "least"),
    ("pan_limits_deg = [0, 1e9]", "to 3600"), ('pan_limits_deg = [0, "9"]', "a number"),
])  # fmt: skip
def test_a_world_that_makes_no_sense_is_told_with_its_line(key: str, words: str) -> None:
    with pytest.raises(ScenarioError, match=r"good: line 16: .*" + words):
        parse(GOOD + f"\n[world]\n{key}\n", "good")


def test_a_world_is_a_table() -> None:
    with pytest.raises(ScenarioError, match=r"begins with \[world\]"):
        parse("world = 3", "good")


@given(st.sampled_from(sorted(KEYS)))
def test_a_key_holds_its_own_range_and_nothing_beyond(name: str) -> None:
    key = KEYS[name]
    ends: list[Any] = [[key.least, key.most]] if key.pair else [key.least, key.most]
    assert all(key.mistake(int(end) if key.whole else end) is None for end in ends)
    assert key.mistake([key.least, key.most + 1] if key.pair else key.most + 1) is not None
    assert key.mistake([key.least - 1, key.most] if key.pair else key.least - 1) is not None


def test_every_kind_can_begin_and_every_lasting_one_end() -> None:
    assert set(BEGIN) == set(KINDS)
    assert set(END) == {name for name, kind in KINDS.items() if kind.lasts}


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('"line-cut"', '"line-cutt"', 5, "no kind of fault"),
        ('kind = "line-cut"\n', "", 4, "no kind of fault"),
        ("at_s = 40", 'at_s = "soon"', 6, "must be a number"),
        ("at_s = 40", "at_s = -1", 6, "from 0 to"),
        ("at_s = 40", "at_s = true", 6, "must be a number"),
        ("at_s = 40", "at_s = nan", 6, "must be a number"),
        ("at_s = 40\n", "", 5, "either at_s, after_exposure or at_frame"),
        ("at_s = 40", "at_s = 40\nat_frame = 2", 5, "either at_s, after_exposure or at_frame"),
        ("for_s = 15.5", "for_ms = 15", 7, "for_ms says nothing of a line-cut"),
        ("for_s = 15.5", "axis = 'pan'", 7, "axis says nothing of a line-cut"),
        ("after_exposure = 3", "after_exposure = 3.5", 11, "whole number"),
        ('axis = "tilt"', 'axis = "roll"', 12, '"pan" or "tilt"'),
        ("steps = -12\n", "", 10, "say steps of the steps-lost"),
        ("steps = -12", "steps = 1e99", 13, "too large"),
        ('about = "Something."', "abuot = 3", 2, "abuot is not known"),
    ],
)
def test_a_mistake_is_named_with_its_line(old: str, new: str, line: int, words: str) -> None:
    assert old in GOOD
    with pytest.raises(ScenarioError, match=rf"^s: line {line}: .*") as caught:
        parse(GOOD.replace(old, new, 1), "s")
    assert words in str(caught.value)


@pytest.mark.parametrize("text", ["fault = 3", "about = [1]", "[fault]\nkind = 'stall'", "= 3", "fault = [1]"])
def test_what_is_no_scenario_at_all(text: str) -> None:
    with pytest.raises(ScenarioError, match=r"^s: "):
        parse(text, "s")


@pytest.mark.parametrize("text", ["about = " + "[" * 50_000, "about = " + "9" * 5000])
def test_text_beyond_all_bounds(text: str) -> None:
    with pytest.raises(ScenarioError, match=r"^s: "):
        parse(text, "s")


@given(st.text(max_size=80) | st.text(alphabet='[]fault="kind\n 1.', max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    with suppress(ScenarioError):
        assert parse(text, "s").name == "s"
