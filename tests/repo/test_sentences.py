"""Every sentence of the program has an entry that says what it means, and no entry is left over."""

from __future__ import annotations

from collections import Counter

import pytest

from controller.guide.meanings import FOLDER, NEEDS_DOING, all_meanings
from tests.repo.prose import MEDIAN_WORDS, MOST_WORDS, Sentence, median_words, split
from tests.repo.sentences import all_said, in_order, left_over, missing

ROOMS = sorted(path.stem for path in FOLDER.glob("*.toml"))


def test_sentences_are_found_in_every_way_the_program_says_them() -> None:
    found = {(said.room, said.text) for said in all_said()}
    assert ("capture", "Stopped as asked.") in found  # plain text
    assert ("ports", "The line … is gone: ….") in found  # filled in
    assert ("session", "the disk is full; free some space") in found  # in a table
    assert ("top", "is nested too deeply for …") in found  # through a function that raises
    assert ("page", "The account did not arrive. Load the page again.") in found  # in a script
    assert len(found) > 800


def test_every_table_belongs_to_a_room() -> None:
    assert sorted({said.room for said in all_said()}) == ROOMS


@pytest.mark.parametrize("room", ROOMS)
def test_every_sentence_has_an_entry(room: str) -> None:
    """`python -m tests.repo.sentences --missing ROOM` prints entries to fill in."""
    assert [f"{said.module}:{said.line}: {said.text}" for said in missing(room)] == []
    assert left_over(room) == []


@pytest.mark.parametrize("room", ROOMS)
def test_the_entries_are_in_order_and_each_is_there_once(room: str) -> None:
    """`python -m tests.repo.sentences --sort ROOM` puts them in order."""
    entries = [each for each in all_meanings() if each.room == room]
    assert entries == in_order(room)
    assert [says for says, times in Counter(each.says for each in entries).items() if times > 1] == []


@pytest.mark.parametrize("room", ROOMS)
def test_every_entry_says_what_it_means_and_what_to_do(room: str) -> None:
    entries = [each for each in all_meanings() if each.room == room]
    assert [each.says for each in entries if not each.means.endswith((".", "?"))] == []
    assert [each.says for each in entries if each.kind in NEEDS_DOING and not each.do.endswith(".")] == []


@pytest.mark.parametrize("room", ROOMS)
def test_the_entries_read_easily(room: str) -> None:
    texts = [text for each in all_meanings() if each.room == room for text in (each.means, each.do) if text]
    found = [Sentence(text, 0) for whole in texts for text in split(whole)]
    assert [each.text for each in found if each.words > MOST_WORDS] == []
    assert median_words(found) < MEDIAN_WORDS
