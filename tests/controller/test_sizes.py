"""Sizes for people."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.sizes import UNITS, size_text, sizes_apart

SIZES = st.integers(0, 10**19)


@pytest.mark.parametrize(
    ("size", "text"),
    [
        (0, "0 bytes"), (1, "1 byte"), (999, "999 bytes"), (1000, "1.0 kB"), (1234, "1.2 kB"), (999_499, "1.0 MB"),
        (994_999, "990 kB"), (651_000_000, "650 MB"), (1_960_000_000, "2.0 GB"), (31_900_000_000, "32 GB"),
        (5_000_000_000_000, "5.0 TB"),
    ],
)  # fmt: skip
def test_two_figures_and_the_unit_that_suits(size: int, text: str) -> None:
    assert size_text(size) == text


def value_of(text: str) -> float:
    number, unit = text.split()
    return float(number) * math.pow(1000, 0 if unit == "byte" else UNITS.index(unit))


@given(size=SIZES)
def test_a_size_is_told_within_half_a_unit_of_its_second_figure(size: int) -> None:
    text = size_text(size)
    assert value_of(text) == pytest.approx(size, rel=0.05, abs=0.5)
    assert len(text) <= 9


@given(one=SIZES, more=st.integers(1, 10**6) | SIZES.filter(bool))
def test_two_sizes_are_never_told_alike(one: int, more: int) -> None:
    less_text, more_text = sizes_apart(one, one + more)
    assert less_text != more_text
    assert value_of(less_text) <= value_of(more_text)


@given(one=SIZES, more=SIZES)
def test_a_larger_one_never_sounds_smaller(one: int, more: int) -> None:
    assert value_of(size_text(one)) <= value_of(size_text(one + more))
