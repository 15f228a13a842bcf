import time

import pytest

from controller.guide.meanings import Kind, all_meanings, meanings_of


def test_a_printed_sentence_is_found_with_what_was_filled_in() -> None:
    (found,) = meanings_of("The line /dev/ttyUSB0 is gone: the cable is out.")
    assert found.says == "The line … is gone: …."
    assert found.kind is Kind.ERROR
    assert found.do


def test_sentences_printed_together_and_broken_across_lines_are_all_found() -> None:
    printed = (
        "Error: head.example:x is not HOST:PORT. Write it like\n"
        "  192.0.2.7:7000, head.example:7000\nor [2001:db8::7]:7000."
    )
    assert [each.says for each in meanings_of(printed)] == [
        "Write it like 192.0.2.7:7000, head.example:7000 or [2001:db8::7]:7000.",
        "… is not HOST:PORT. …",
    ]


def test_a_reason_inside_a_sentence_is_found_with_it() -> None:
    printed = "/dev/ttyUSB0 cannot be opened: another program uses it: end that first."
    assert {each.says for each in meanings_of(printed)} == {
        "… cannot be opened: ….",
        "another program uses it: end that first",
    }


def test_some_words_of_a_sentence_are_enough() -> None:
    assert "The line … is gone: …." in [each.says for each in meanings_of("port disappeared")]


def test_words_that_the_program_never_says_find_nothing() -> None:
    assert meanings_of("xylophone quartet") == ()
    assert meanings_of("") == ()
    assert meanings_of(" … ") == ()


def test_every_entry_finds_itself() -> None:
    for each in all_meanings():
        printed = each.says.replace("…", "7")
        found = meanings_of(printed)
        assert each in found or any(other.literal >= each.literal for other in found) or each.literal < 20


@pytest.mark.parametrize("text", ["the a " * 2000, "a" * 10_000, ": " * 5000, "No such file. " * 900])
def test_any_text_is_looked_up_at_once(text: str) -> None:
    """A pattern with several gaps could be tried in very many ways. Counted as processor time."""
    all_meanings()
    began_s = time.process_time()
    meanings_of(text)
    assert time.process_time() - began_s < 2.0
