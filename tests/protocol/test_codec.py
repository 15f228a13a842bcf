"""Messages to bytes and back."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, replace
from enum import IntEnum, IntFlag
from typing import Any, cast, get_type_hints

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from protocol.codec import FROM_BOARD_BIT, LAYOUT, decode_message, encode_message, is_known, kind_of
from protocol.errors import BadFrame, ProtocolError, WrongUse
from protocol.framing import MAX_PAYLOAD
from protocol.messages import (
    Capability,
    Command,
    Finished,
    Message,
    Move,
    Reason,
    Refused,
    Request,
    SetAxis,
    StatusFlag,
    Welcome,
)
from protocol.units import AxisId, BootId, CommandId, Steps
from tests.protocol.golden import VECTORS
from tests.protocol.strategies import MESSAGES, RANGES, message_of

WIDTH_BYTES = {"B": 1, "H": 2, "I": 4, "i": 4}
OFFSETS = {
    message_class: [sum(WIDTH_BYTES[width] for width in widths[:at]) for at in range(len(widths))]
    for _, message_class, widths in LAYOUT
}
"""The offset of each field."""
MOVE = Move(CommandId(1), Steps(2), Steps(3))


@given(MESSAGES)
def test_every_message_comes_back(message: Message) -> None:
    assert decode_message(*encode_message(message)) == message


def test_payload_by_hand() -> None:
    message = SetAxis(CommandId(0x01020304), AxisId.TILT, Steps(-2), Steps(2), 0x0A0B0C0D, 0xFFFFFFFE)
    assert encode_message(message) == (
        0x44,
        bytes.fromhex("01020304 01 fffffffe 00000002 0a0b0c0d fffffffe"),
    )


def test_table_is_whole_and_unambiguous() -> None:
    kinds = [kind for kind, _, _ in LAYOUT]
    assert len(set(kinds)) == len(kinds) == len(Message.__args__)
    assert {message_class for _, message_class, _ in LAYOUT} == set(Message.__args__)
    for kind, message_class, widths in LAYOUT:
        assert kind_of(message_class) == kind
        assert bool(kind & FROM_BOARD_BIT) == (message_class not in Request.__args__)
        assert sum(WIDTH_BYTES[width] for width in widths) <= MAX_PAYLOAD


def test_longest_payload_is_really_used() -> None:
    assert max(sum(WIDTH_BYTES[w] for w in widths) for _, _, widths in LAYOUT) == MAX_PAYLOAD


def test_golden_rows_use_every_message() -> None:
    assert {type(message) for _, _, message in VECTORS} == set(Message.__args__)


@pytest.mark.parametrize(("kind", "message_class", "widths"), LAYOUT)
def test_values_out_of_range_are_our_mistake(kind: int, message_class: type[Message], widths: str) -> None:
    sample: Any = next(message for _, _, message in VECTORS if type(message) is message_class)
    hints = get_type_hints(message_class)
    for (name, hint), width in zip(hints.items(), widths, strict=True):
        is_enum = isinstance(hint, type) and issubclass(hint, IntEnum | IntFlag)
        low, high = RANGES[width]
        for value in (low - 1, high + 1, 0.5, None, "1"):
            with pytest.raises(WrongUse):
                encode_message(replace(sample, **{name: value}))
        if is_enum:
            with pytest.raises(WrongUse):
                encode_message(replace(sample, **{name: 1}))


def test_things_that_are_no_message() -> None:
    with pytest.raises(WrongUse):
        encode_message(cast("Message", object()))


def test_every_other_kind_is_refused() -> None:
    known = {kind for kind, _, _ in LAYOUT}
    for kind in set(range(256)) - known:
        assert not is_known(kind)
        with pytest.raises(BadFrame):
            decode_message(kind, b"")


@pytest.mark.parametrize(("kind", "message_class", "widths"), LAYOUT)
def test_every_other_length_is_refused(kind: int, message_class: type[Message], widths: str) -> None:
    right = sum(WIDTH_BYTES[width] for width in widths)
    for length in set(range(MAX_PAYLOAD + 1)) - {right}:
        with pytest.raises(BadFrame):
            decode_message(kind, bytes(length))


def test_unknown_enum_values_are_refused() -> None:
    for value in range(256):
        if value in {reason.value for reason in Reason}:
            assert decode_message(kind_of(Refused), bytes((value,))) == Refused(Reason(value))
        else:
            with pytest.raises(BadFrame):
                decode_message(kind_of(Refused), bytes((value,)))


def test_unknown_flag_bits_are_ignored() -> None:
    known = Welcome(1, 0, 0, BootId(1), CommandId(0), Capability.HALF_PRESS, 64, 1)
    kind, payload = encode_message(known)
    with_more = payload[:14] + (0x8008).to_bytes(2, "big") + payload[16:]
    assert with_more != payload
    assert decode_message(kind, with_more) == known
    assert StatusFlag(0xF0) == StatusFlag(0)


@given(st.integers(0, 255), st.binary(max_size=40))
def test_any_bytes_give_a_message_or_bad_frame(kind: int, payload: bytes) -> None:
    try:
        message = decode_message(kind, payload)
    except BadFrame:
        return
    kind_again, payload_again = encode_message(message)
    assert kind_again == kind
    assert len(payload_again) == len(payload)


def test_messages_are_values() -> None:
    assert Move(CommandId(1), Steps(2), Steps(3)) == MOVE
    assert hash(Move(CommandId(1), Steps(2), Steps(3))) == hash(MOVE)
    with pytest.raises(FrozenInstanceError):
        MOVE.pan_steps = Steps(9)  # type: ignore[misc]


def test_errors_have_one_base_and_two_families() -> None:
    assert issubclass(WrongUse, ProtocolError)
    assert issubclass(BadFrame, ProtocolError)
    assert not issubclass(WrongUse, BadFrame)


@given(message_of(Finished, "IBiiI"))
def test_an_outcome_keeps_its_type(message: Message) -> None:
    again = decode_message(*encode_message(message))
    assert isinstance(again, Finished)
    assert type(again.outcome) is type(cast("Finished", message).outcome)


def test_commands_begin_with_their_id() -> None:
    for _, message_class, _ in LAYOUT:
        if message_class in Request.__args__:
            has_id = next(iter(get_type_hints(message_class)), None) == "command_id"
            assert has_id == (message_class in Command.__args__)


@given(MESSAGES, st.data())
def test_a_value_that_this_version_does_not_know_cannot_be_read(message: Message, data: st.DataObject) -> None:
    """SPEC, section 10: a host must not take it for another value."""
    kind, payload = encode_message(message)
    hints = get_type_hints(type(message))
    names = [name for name in hints if isinstance(hints[name], type) and issubclass(hints[name], IntEnum)]
    assume(names)
    name = data.draw(st.sampled_from(names))
    at = OFFSETS[type(message)][list(hints).index(name)]
    unknown = data.draw(st.integers(max(hints[name]) + 1, 255))
    with pytest.raises(BadFrame):
        decode_message(kind, payload[:at] + bytes((unknown,)) + payload[at + 1 :])
