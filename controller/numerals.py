"""The one way to read a number from text: decimal digits, a point, an exponent, and nothing else.

Python reads more than people mean: 1_0 as ten, digits of other scripts, nan and inf. None of these is a number here, nor
is what no measurement can be: above a quintillion squared in size, or so small that it must be a slip of the keyboard.
"""

import re

LARGEST, SMALLEST = 1e30, 1e-30
"""The range of sizes that a number other than 0 may have. Every unit in use is met within it, with room for squares."""
MOST_DIGITS = 400  # characters; longer texts are not looked at
DECIMAL = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
WHOLE = re.compile(r"[+-]?[0-9]+")


def number_in(text: str) -> float | None:
    """The number that a text says, spaces around it aside; None if it says none, or one beyond all sense."""
    text = text.strip()
    if len(text) > MOST_DIGITS or DECIMAL.fullmatch(text) is None:
        return None
    value = float(text)
    return value if value == 0 or SMALLEST <= abs(value) <= LARGEST else None


def whole_in(text: str) -> int | None:
    """The whole number that a text says, spaces around it aside; None if it says none, or one beyond all sense."""
    text = text.strip()
    if len(text) > MOST_DIGITS or WHOLE.fullmatch(text) is None:
        return None
    value = int(text)
    return value if abs(value) <= LARGEST else None
