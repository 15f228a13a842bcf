"""Hypothesis strategies for every message, built from the codec's own table."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from enum import IntEnum, IntFlag
from functools import reduce
from operator import or_
from typing import Any, get_type_hints

from hypothesis import strategies as st

from protocol.codec import LAYOUT
from protocol.messages import Message

RANGES = {"B": (0, 2**8 - 1), "H": (0, 2**16 - 1), "I": (0, 2**32 - 1), "i": (-(2**31), 2**31 - 1)}


def _value(width: str, hint: object) -> st.SearchStrategy[Any]:
    if isinstance(hint, type) and issubclass(hint, IntFlag):
        return st.sets(st.sampled_from(list(hint))).map(lambda bits: reduce(or_, bits, hint(0)))
    if isinstance(hint, type) and issubclass(hint, IntEnum):
        return st.sampled_from(list(hint))
    low, high = RANGES[width]
    return st.integers(low, high) | st.sampled_from((low, high, 0, 1))


def message_of(message_class: type[Message], widths: str) -> st.SearchStrategy[Message]:
    hints = get_type_hints(message_class)
    make: Callable[..., Message] = message_class
    values = (_value(width, hints[field.name]) for width, field in zip(widths, fields(message_class), strict=True))
    return st.builds(make, *values)


MESSAGES = st.one_of([message_of(message_class, widths) for _, message_class, widths in LAYOUT])
SEQS = st.integers(0, 255)
PAYLOADS = st.binary(max_size=32) | st.lists(st.sampled_from((0, 0, 0, 1, 2, 255)), max_size=32).map(bytes)
