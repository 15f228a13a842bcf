"""Values as cameras write them. The traps are those of the real pictures in tests/pictures."""

from __future__ import annotations

import math
from datetime import datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL.TiffImagePlugin import IFDRational

from controller import exif


@pytest.mark.parametrize(
    ("value", "text"),
    [("EX-100     ", "EX-100"), ("GR\0\0\0", "GR"), ("\0\0", None), ("", None), (7, None), ("a\0b", "a b")],
)
def test_padding_is_no_text(value: object, text: str | None) -> None:
    assert exif.text(value) == text


@pytest.mark.parametrize("value", [IFDRational(0, 0), 0, -1, None, "abc", math.nan, math.inf, (1, 2)])
def test_no_positive_number(value: object) -> None:
    assert exif.positive(value) is None


@given(st.datetimes(datetime(1990, 1, 1), datetime(2100, 1, 1)), st.integers(0, 6), st.integers(-14 * 4, 14 * 4))
def test_a_moment_is_read_as_it_was_written(moment: datetime, digits: int, quarters: int) -> None:
    fraction = f"{moment.microsecond:06}"[:digits]
    sign, minutes = "-" if quarters < 0 else "+", abs(quarters) * 15
    read = exif.moment(f"{moment:%Y:%m:%d %H:%M:%S}", fraction, f"{sign}{minutes // 60:02}:{minutes % 60:02}")
    expected = moment.replace(microsecond=int(f"{fraction:0<6}"), tzinfo=timezone(timedelta(minutes=quarters * 15)))
    assert read == expected
    assert read is not None
    assert read.utcoffset() == expected.utcoffset()


@pytest.mark.parametrize("text", ["", "0000:00:00 00:00:00", "    :  :     :  :  ", None, "2026:13:01 00:00:00"])
def test_no_moment(text: str | None) -> None:
    """Cameras whose clock was never set write zeros or blanks (CIPA DC-008 allows the latter; from memory)."""
    assert exif.moment(text, None, None) is None


def test_a_moment_padded_and_without_a_zone() -> None:
    assert exif.moment("2026:06:21 07:00:01\0", "5 ", "") == datetime(2026, 6, 21, 7, 0, 1, 500_000)
