"""The pages of troubleshooting are current, and have every sentence of the program."""

import re

from tests.repo.sentences import all_said
from tests.repo.trouble_page import DOCS, PLACES, shown_text, trouble_pages


def test_the_pages_are_current() -> None:
    """Write them again with: python -m tests.repo.reference."""
    paths = [DOCS / "troubleshooting.md", *(DOCS / "troubleshooting").glob("*")]
    committed = {path.relative_to(DOCS).as_posix(): path.read_text(encoding="utf-8") for path in paths}
    made = trouble_pages()
    assert committed.keys() == made.keys()
    for name, text in made.items():
        assert committed[name] == text, f"{name}: run python -m tests.repo.reference"


def test_every_sentence_of_the_program_is_on_the_page_of_its_place() -> None:
    page_of = {room: f"troubleshooting/{place.name}.md" for place in PLACES for room in place.rooms}
    made = trouble_pages()
    for said in all_said():
        assert f"| {shown_text(said.text)} |" in made[page_of[said.room]], f"{said.module}:{said.line}: {said.text}"


def test_every_room_is_in_one_place() -> None:
    rooms = [room for place in PLACES for room in place.rooms]
    assert len(rooms) == len(set(rooms))
    assert {said.room for said in all_said()} <= set(rooms)


def test_the_index_leads_to_every_page() -> None:
    linked = re.findall(r"\]\((troubleshooting/[a-z-]+\.md)\)", trouble_pages()["troubleshooting.md"])
    assert sorted(linked) == sorted(f"troubleshooting/{place.name}.md" for place in PLACES)


def test_signs_are_escaped_outside_of_code() -> None:
    assert shown_text("a | b_c `d_e` [f]") == r"a \| b\_c `d_e` \[f\]"
    assert shown_text("a `b_c") == r"a \`b\_c"
