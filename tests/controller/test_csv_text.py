"""Tables that no spreadsheet reads as formulas, and that are read back unchanged.

What begins a formula: OWASP, "CSV Injection" (=, +, -, @, tab, carriage return, line feed, and the wide forms).
"""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from controller.csv_text import csv_text, harmless
from tests.controller.csv_reader import csv_rows, plain

BEGINS = "=+-@\t\r\n"
TEXTS = st.text(st.sampled_from("=+-@\t\r\n '\",;ab1.ü＝＠"), max_size=12) | st.text(max_size=12)


@given(text=TEXTS)
@example(text="'=1+1")
@example(text="''")
def test_what_is_made_harmless_comes_back(text: str) -> None:
    assert plain(harmless(text)) == text
    assert harmless(text)[:1] not in set(BEGINS)
    assert harmless(text).lstrip(" '")[:1] not in set(BEGINS) or harmless(text).startswith("'")


@given(rows=st.lists(st.lists(TEXTS, min_size=2, max_size=2), max_size=5))
@example(rows=[["", ""]])
def test_a_table_comes_back(rows: list[list[str]]) -> None:
    assert csv_rows(csv_text(("one", "two"), rows)) == [["one", "two"], *rows]


@given(text=TEXTS, between=st.sampled_from(",;\t"))
def test_no_cell_begins_like_a_formula_whatever_separates_cells(text: str, between: str) -> None:
    """In some countries a spreadsheet splits cells at semicolons: a quoted text stays in one cell there, too."""
    (_, row) = csv.reader(io.StringIO(csv_text(("one",), [[text]]), newline=""), delimiter=between)
    assert len(row) == bool(row)
    assert all(cell[:1] not in set(BEGINS) for cell in row)


@pytest.mark.parametrize("number", [-0.5, 0.0, 1e-9, -3, True, False])
def test_numbers_stay_numbers(number: float) -> None:
    assert csv_text(("one",), [[number]]) == f"one\n{number}\n"


def test_lists_and_what_is_not_known() -> None:
    assert csv_text(("a", "b", "c"), [[None, ["=1", "b;c"], 2]]) == 'a,b,c\n,"\'=1; b;c",2\n'


def test_a_name_that_is_not_utf_8_leaves_the_table_utf_8() -> None:
    text = csv_text(("one",), [["a\udcff.JPG"]])
    assert text.encode("utf-8") == b"one\na\\udcff.JPG\n"
