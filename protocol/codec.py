"""Messages to payload bytes and back, from one table.

Numbers are big-endian, like the checksum: one byte order is one rule to remember, and numbers are readable in a hex dump.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import fields
from enum import IntEnum, IntFlag
from operator import attrgetter
from types import MappingProxyType
from typing import Any, Final, NamedTuple, get_type_hints

from protocol.errors import BadFrame, WrongUse
from protocol.framing import MAX_PAYLOAD, encode_frame
from protocol.messages import (
    Accepted,
    Arm,
    Booted,
    Cause,
    Expose,
    Finished,
    GetIndex,
    GetStatus,
    Halt,
    Held,
    Hello,
    Index,
    Message,
    Move,
    Reference,
    Refused,
    SetAxis,
    SetShaper,
    Status,
    Stop,
    Welcome,
)
from protocol.shaper import MOST_IMPULSES


class Version(NamedTuple):
    """Ends with the same major version are compatible; a minor version only adds."""

    major: int
    minor: int


PROTOCOL_VERSION: Final = Version(major=1, minor=2)

NEWER_CAUSES: Final = MappingProxyType({Cause.WATCHDOG: (1, Cause.POWER_ON), Cause.ZERO_NOT_FOUND: (1, Cause.LIMIT)})
"""The minor version that introduced a cause, and the cause that an older host gets instead."""


def cause_for(minor: int, cause: Cause) -> Cause:
    """Return `cause` as the host's minor version knows it."""
    since, older = NEWER_CAUSES.get(cause, (0, cause))
    return cause if minor >= since else older


FROM_BOARD_BIT: Final = 0x80
"""Set in the kind of everything that a board sends, so that no end takes its own echo for the other end."""

# Kind, message, width of each field in the order of the dataclass (B u8, H u16, I u32, i i32; see `struct`).
LAYOUT: Final[tuple[tuple[int, type[Message], str], ...]] = (
    (0x41, Hello, "BBI"),
    (0x42, GetStatus, ""),
    (0x44, SetAxis, "IBiiII"),
    (0x47, Arm, "III"),
    (0x48, Reference, "IIIH"),
    (0x4B, Move, "Iii"),
    (0x4D, Expose, "IIBHII"),
    (0x4E, Stop, ""),
    (0x50, Halt, ""),
    (0x53, GetIndex, ""),
    (0x55, SetShaper, "IB" + "HH" * MOST_IMPULSES),
    (0xC3, Welcome, "BBIIIHHI"),
    (0xC5, Accepted, ""),
    (0xC6, Refused, "B"),
    (0xC9, Status, "IBBBiiIIBII"),
    (0xCA, Index, "IiBIiB"),
    (0xE1, Booted, "IB"),
    (0xE2, Finished, "IBiiI"),
    (0xE4, Held, "BiiI"),
)


class _Form(NamedTuple):
    """One row of the table, prepared for use."""

    kind: int
    make: Callable[..., Message]
    layout: struct.Struct
    values_of: Callable[[Any], tuple[Any, ...]]
    enums: tuple[tuple[int, type[IntEnum | IntFlag]], ...]


def _getter(names: list[str]) -> Callable[[Any], tuple[Any, ...]]:
    if not names:
        return lambda _message: ()
    get = attrgetter(*names)
    if len(names) == 1:  # attrgetter returns a bare value for one name and a tuple for several
        return lambda message: (get(message),)
    return get


def _form(kind: int, message_class: type[Message], widths: str) -> _Form:
    names = [field.name for field in fields(message_class)]
    hints = get_type_hints(message_class)
    types = [hints[name] for name in names]
    enums = [(i, t) for i, t in enumerate(types) if isinstance(t, type) and issubclass(t, IntEnum | IntFlag)]
    layout = struct.Struct(">" + widths)
    if len(names) != len(widths) or layout.size > MAX_PAYLOAD:
        raise WrongUse(f"the table row of {message_class.__name__} does not fit its fields or the frame")
    return _Form(kind, message_class, layout, _getter(names), tuple(enums))


_FORMS: Final = tuple(_form(*row) for row in LAYOUT)
_BY_KIND: Final = {form.kind: form for form in _FORMS}
_BY_CLASS: Final[dict[object, _Form]] = {form.make: form for form in _FORMS}


def encode_message(message: Message) -> tuple[int, bytes]:
    """Return kind and payload of a message. Raises WrongUse if a value does not fit its field."""
    form = _BY_CLASS.get(type(message))
    if form is None:
        raise WrongUse(f"{type(message).__name__} is not a message of this protocol")
    values = form.values_of(message)
    for index, enum in form.enums:
        if type(values[index]) is not enum:
            raise WrongUse(f"{values[index]!r} is not a {enum.__name__} in {message!r}")
    try:
        return form.kind, form.layout.pack(*values)
    except struct.error as error:
        raise WrongUse(f"a value does not fit in {message!r}: {error}") from None


def frame_of(message: Message, seq: int) -> bytes:
    """Return the frame of a message for the wire. Raises WrongUse if a value does not fit its field."""
    kind, payload = encode_message(message)
    return encode_frame(kind, seq, payload)


def decode_message(kind: int, payload: bytes) -> Message:
    """Return the message in a payload. Raises BadFrame on an unknown kind, length or enum value."""
    form = _BY_KIND.get(kind)
    if form is None:
        raise BadFrame(f"kind {kind:#04x} is unknown")
    try:
        values = form.layout.unpack(payload)
        if form.enums:
            converted = list(values)
            for index, enum in form.enums:
                converted[index] = enum(converted[index])
            return form.make(*converted)
        return form.make(*values)
    except struct.error:
        raise BadFrame(f"kind {kind:#04x} needs {form.layout.size} bytes, got {len(payload)}") from None
    except ValueError as error:
        raise BadFrame(f"kind {kind:#04x}: {error}") from None


def is_known(kind: int) -> bool:
    """Whether this version has a message of that kind."""
    return kind in _BY_KIND


def kind_of(message_class: type[Message]) -> int:
    """Return the kind byte of a message class."""
    return _BY_CLASS[message_class].kind
