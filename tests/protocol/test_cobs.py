"""Stuffing: Cheshire & Baker, IEEE/ACM Transactions on Networking 7(2):159-172, 1999; package `cobs`."""

from __future__ import annotations

import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from protocol.errors import BadFrame
from protocol.framing import cobs_decode, cobs_encode


def span(first: int, last: int) -> bytes:
    return bytes(range(first, last + 1))


TABLE = [
    (b"", "01"),
    (bytes(1), "01 01"),
    (bytes(2), "01 01 01"),
    (bytes.fromhex("00 11 00"), "01 02 11 01"),
    (bytes.fromhex("11 22 00 33"), "03 11 22 02 33"),
    (bytes.fromhex("11 22 33 44"), "05 11 22 33 44"),
    (bytes.fromhex("11 00 00 00"), "02 11 01 01 01"),
    # the paper's example, an IP header
    (bytes.fromhex("45 00 00 2C 4C 79 00 00 40 06 4F 37"), "02 45 01 04 2C 4C 79 01 05 40 06 4F 37"),
    (span(1, 254), "FF" + span(1, 254).hex()),
    (b"\0" + span(1, 254), "01 FF" + span(1, 254).hex()),
    (span(1, 255), "FF" + span(1, 254).hex() + "02 FF"),
    (span(2, 255) + b"\0", "FF" + span(2, 255).hex() + "01 01"),
    (span(3, 255) + b"\0\1", "FE" + span(3, 255).hex() + "02 01"),
]
# Long enough for several blocks, with many runs of a block's length.
DATA = st.binary(max_size=600) | st.lists(
    st.sampled_from((b"\0", b"\1", b"\7" * 253, b"\7" * 254, b"\7" * 255, b"\xff")), max_size=6
).map(b"".join)


@pytest.mark.parametrize(("raw", "encoded"), TABLE)
def test_published_rows(raw: bytes, encoded: str) -> None:
    assert cobs_encode(raw) == bytes.fromhex(encoded)
    assert cobs_decode(bytes.fromhex(encoded)) == raw


@given(DATA)
def test_agrees_with_the_package(raw: bytes) -> None:
    encoded = cobs_encode(raw)
    assert encoded == cobs.encode(raw)
    assert cobs_decode(encoded) == raw
    assert 0 not in encoded
    assert len(raw) < len(encoded) <= len(raw) + max(1, -(-len(raw) // 254))


@given(DATA)
def test_decodes_as_the_package_does(encoded: bytes) -> None:
    try:
        expected = cobs.decode(encoded)
    except cobs.DecodeError:
        with pytest.raises(BadFrame):
            cobs_decode(encoded)
    else:
        assert cobs_decode(encoded) == expected


@pytest.mark.parametrize("encoded", ["05 11 22", "00", "02 00", "01 00 01", "FF 01", "02"])
def test_broken_encodings(encoded: str) -> None:
    with pytest.raises(BadFrame):
        cobs_decode(bytes.fromhex(encoded))


def test_full_block_may_be_followed_by_an_empty_one() -> None:
    full = b"\xff" + span(1, 254)
    assert cobs_decode(full) == cobs_decode(full + b"\x01") == span(1, 254)
