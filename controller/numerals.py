"""Read a number from text: decimal digits, a point, an exponent, and nothing else. All numbers are read here.

Python accepts more than people mean: 1_0 as ten, digits of other scripts, nan and inf. None of these is a number here.
`bounds` has the range of each number.
"""

import math
import re

MOST_CHARACTERS = 400  # every finite number in plain digits is shorter; longer texts are not read
DECIMAL = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
WHOLE = re.compile(r"[+-]?[0-9]+")


def number_in(text: str) -> float | None:
    """The finite number in a text, ignoring spaces around it; None if there is none."""
    text = text.strip()
    if len(text) > MOST_CHARACTERS or DECIMAL.fullmatch(text) is None:
        return None
    value = float(text)
    return value if math.isfinite(value) else None


def whole_in(text: str) -> int | None:
    """The whole number in a text, ignoring spaces around it; None if there is none."""
    text = text.strip()
    return int(text) if len(text) <= MOST_CHARACTERS and WHOLE.fullmatch(text) else None
