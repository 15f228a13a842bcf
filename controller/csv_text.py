"""Tables as CSV (RFC 4180) that a spreadsheet takes for text and numbers, never for formulas.

A text that begins like a formula gets an apostrophe before it (OWASP, "CSV Injection"); `plain` takes it away again.
Numbers stay as they are: -0.5 is no text. A text with a separator of any country is quoted, so that it stays in one cell.
"""

import csv
import io
import re
from collections.abc import Iterable, Sequence

FORMULA = re.compile(r"[\s']*[=+\-@＝＋－＠\t\r\n]")
QUOTED = re.compile(r'[",;\t\r\n]|^\s|\s$')
Cell = str | float | None | Sequence[str]


def csv_text(columns: Iterable[str], rows: Iterable[Iterable[Cell]]) -> str:
    r"""The table with its head; lists are joined by "; ", what is not known is empty.

    Of a name that is not UTF-8 the bytes that are none are written as \udcXX, so that the table is UTF-8.
    """
    lines = [",".join(columns), *(",".join(map(_cell, row)) for row in rows)]
    return "\n".join([*lines, ""]).encode("utf-8", "backslashreplace").decode()


def csv_rows(text: str) -> list[list[str]]:
    """The rows of a table, the head first, each text as it was before it was written."""
    return [[plain(cell) for cell in row] for row in csv.reader(io.StringIO(text, newline=""))]


def harmless(text: str) -> str:
    """A text as no spreadsheet takes it for a formula."""
    return f"'{text}" if FORMULA.match(text) else text


def plain(text: str) -> str:
    """What `harmless` was given."""
    return text[1:] if text.startswith("'") and FORMULA.match(text) else text


def _cell(value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, (bool, int, float)):
        return str(value)
    text = harmless(value) if isinstance(value, str) else "; ".join(map(harmless, value))
    return '"{}"'.format(text.replace('"', '""')) if QUOTED.search(text) else text
