"""Values as cameras write them. The traps come from the real pictures in tests/pictures."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta, timezone

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


@pytest.mark.parametrize(
    "value", [IFDRational(0, 0), 0, -1, None, "abc", math.nan, math.inf, (1, 2), 10**400, "12", b"1"]
)
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


@pytest.mark.parametrize("text", ["", "0000:00:00 00:00:00", "    :  :     :  :  ", None, " " * 19, "\0" * 20])
def test_no_moment(text: str | None) -> None:
    """Cameras whose clock was never set write zeros or blanks (CIPA DC-008 allows the latter; from memory)."""
    assert exif.moment(text, None, None) is None
    assert not exif.is_said(text)


@pytest.mark.parametrize(
    "text",
    [
        "2026:13:01 00:00:00", "2026:02:30 00:00:00", "2026:06:21 24:00:00", "2026:06:21 07:60:00", "0001:01:01 00:00:00",
        "1969:12:31 23:59:59", "2200:01:01 00:00:00", "9999:12:31 23:59:59", "20260:06:21 07:00:01", "2026:06:21", "noon",
        "2026:06:21 07:00:01 more", b"\xff" * 20, 20260621, (1, 2), math.nan,
    ],
)  # fmt: skip
def test_a_date_that_no_photograph_has(text: object) -> None:
    """DateTimeOriginal is "YYYY:MM:DD HH:MM:SS" (CIPA DC-008, section 4.6.6.4, from memory).

    It is damaged if it is far from the time of digital cameras. It is still a text, so people are told.
    """
    assert exif.moment(text, None, None) is None
    assert exif.is_said(text)


@pytest.mark.parametrize(
    "offset", ["+24:00", "-99:59", "+14:01", "-14:01", "+1", "Z Z", "east", 5, None, b"+01:00", "+٠١:٠٠x"]
)
def test_a_zone_that_nobody_lives_in_is_none(offset: object) -> None:
    """OffsetTimeOriginal is "+HH:MM" or "-HH:MM" (CIPA DC-008, section 4.6.6.8, from memory)."""
    found = exif.moment("2026:06:21 07:00:01", None, offset)
    assert found == datetime(2026, 6, 21, 7, 0, 1)
    assert found.tzinfo is None


@given(st.text() | st.binary() | st.integers() | st.floats() | st.none() | st.lists(st.integers()), st.text(), st.text())
def test_whatever_a_field_holds_is_a_moment_that_can_be_written_or_none(
    value: object, fraction: str, offset: str
) -> None:
    for original in (value, "2026:06:21 07:00:01"):
        found = exif.moment(original, fraction, offset)
        if found is not None:
            aware = found if found.tzinfo else found.replace(tzinfo=UTC)
            assert datetime.fromtimestamp(aware.timestamp(), UTC) == aware
    assert exif.positive(value) is None or math.isfinite(exif.positive(value) or 0)
    assert (exif.text(value) or "").isprintable()


@pytest.mark.parametrize("value", [True, 1.0, "1", None, (1,), b"1"])
def test_no_whole_number(value: object) -> None:
    assert exif.whole(value) is None


def test_a_moment_padded_and_without_a_zone() -> None:
    assert exif.moment("2026:06:21 07:00:01\0", "5 ", "") == datetime(2026, 6, 21, 7, 0, 1, 500_000)
