"""Tables as CSV (RFC 4180) that a spreadsheet reads as text and numbers, never as formulas.

A text that begins like a formula gets an apostrophe before it (OWASP, "CSV Injection"), which a reader removes again
(docs/how-to/other-programs.md). Numbers stay unchanged: -0.5 is no text. A text with a separator of any country is
quoted, so that it stays in one cell.
"""

import re
from collections.abc import Iterable, Sequence

FORMULA = re.compile(r"[\s']*[=+\-@＝＋－＠\t\r\n]")
QUOTED = re.compile(r'[",;\t\r\n]|^\s|\s$')
Cell = str | float | None | Sequence[str]


def csv_text(columns: Iterable[str], rows: Iterable[Iterable[Cell]]) -> str:
    r"""The table with its header; lists are joined by "; ", unknown values are empty.

    Invalid UTF-8 bytes of a name are written as \udcXX, so that the table is UTF-8.
    """
    lines = [",".join(columns), *(",".join(map(_cell, row)) for row in rows)]
    return "\n".join([*lines, ""]).encode("utf-8", "backslashreplace").decode()


def harmless(text: str) -> str:
    """A text that no spreadsheet reads as a formula."""
    return f"'{text}" if FORMULA.match(text) else text


def _cell(value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, (bool, int, float)):
        return str(value)
    text = harmless(value) if isinstance(value, str) else "; ".join(map(harmless, value))
    return '"{}"'.format(text.replace('"', '""')) if QUOTED.search(text) else text
