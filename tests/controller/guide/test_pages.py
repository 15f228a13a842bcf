"""The guide's pages: every one has a topic, every topic a page, and each is found by its name, its title or words."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.guide import pages, printed
from controller.guide.meanings import all_meanings
from controller.guide.pages import HOME, Topic, near, topic_of, topics

TOPICS = topics()


def test_every_page_has_one_topic() -> None:
    there = {
        path.relative_to(HOME).as_posix()
        for folder in ("docs", "hardware_notes")
        for path in (HOME / folder).rglob("*.md")
    } - {pages.FIRST}
    assert {topic.path for topic in TOPICS} == there
    assert len({topic.name for topic in TOPICS}) == len(TOPICS) == len(there)


@pytest.mark.parametrize("topic", TOPICS, ids=lambda topic: topic.name)
def test_a_topic_is_found_by_name_and_title_and_printed_without_dead_links(topic: Topic) -> None:
    assert topic_of(topic.name.upper().replace("-", " ")) == topic
    assert topic_of(topic.title) is not None
    text = printed.page_text(topic)
    assert text.startswith("# ")
    assert "![" not in text
    for other in TOPICS:  # a link to a page of the guide says its topic
        assert f"]({Path(other.path).name})" not in text


@given(st.text(max_size=30))
def test_any_words_are_looked_up(words: str) -> None:
    assert len(near(words)) <= 5
    found = topic_of(words)
    assert found is None or found in TOPICS


def test_near_misses_are_offered() -> None:
    assert "night" in [topic.name for topic in near("nigth")]
    assert {topic.name for topic in near("calibrate")} >= {"calibrate", "calibrate-steps"}
    assert near("qqqqq") == []


def test_the_contents_name_every_page_but_those_of_commands() -> None:
    text = printed.contents_text()
    for topic in TOPICS:
        assert (f"- `{topic.name}`: {topic.title}\n" in text) == ("/commands/" not in topic.path)


def test_a_meaning_is_printed_with_what_to_do() -> None:
    with_cure = next(meaning for meaning in all_meanings() if meaning.do)
    text = printed.meaning_text([with_cure])
    assert with_cure.means in text
    assert f"What to do: {with_cure.do}" in text
