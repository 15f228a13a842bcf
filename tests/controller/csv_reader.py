"""Read a table back as docs/how-to/other-programs.md describes it for other programs."""

import csv
import io

from controller.csv_text import FORMULA


def csv_rows(text: str) -> list[list[str]]:
    """The rows of a table, the header first, each text as it was before it was written."""
    return [[plain(cell) for cell in row] for row in csv.reader(io.StringIO(text, newline=""))]


def plain(text: str) -> str:
    """The argument of `harmless`."""
    return text[1:] if text.startswith("'") and FORMULA.match(text) else text
