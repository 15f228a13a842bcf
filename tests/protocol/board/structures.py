"""The core's C structures for ctypes, and its codec as functions on messages."""

from __future__ import annotations

from ctypes import CDLL, Structure, Union, byref, c_bool, c_int32, c_uint8, c_uint16, c_uint32, create_string_buffer
from ctypes import POINTER as POINTER_TO
from typing import Any

from protocol.framing import MAX_ENCODED, MAX_FRAME, MAX_PAYLOAD, OVERHEAD
from protocol.messages import Booted, Finished, Held, Index, Message, Refused, Status, Welcome

COUNTERS = ("good", "bad_cobs", "bad_crc", "bad_head", "oversize", "unled")


class CDeframer(Structure):
    _fields_ = (
        ("bytes", c_uint8 * MAX_ENCODED),
        ("count", c_uint8),
        ("zeros", c_uint8),
        ("skipping", c_bool),
        *((name, c_uint16) for name in COUNTERS),
    )


class CHello(Structure):
    _fields_ = (("version_major", c_uint8), ("version_minor", c_uint8), ("nonce", c_uint32))


class CSetAxis(Structure):
    _fields_ = (
        ("axis", c_uint8),
        ("min_steps", c_int32),
        ("max_steps", c_int32),
        ("speed_steps_s", c_uint32),
        ("accel_steps_s2", c_uint32),
    )


class CSetShaper(Structure):
    _fields_ = (
        ("axis", c_uint8),
        *((name, c_uint16) for number in range(1, 6) for name in (f"delay_{number}_ms", f"share_{number}")),
    )


class CArm(Structure):
    _fields_ = (("boot_id", c_uint32), ("silence_ms", c_uint32))


class CReference(Structure):
    _fields_ = (("pan_search_steps_s", c_uint32), ("tilt_search_steps_s", c_uint32), ("creep_divisor", c_uint16))


class CMove(Structure):
    _fields_ = (("pan_steps", c_int32), ("tilt_steps", c_int32))


class CExpose(Structure):
    _fields_ = (
        ("frame", c_uint32),
        ("exposure", c_uint8),
        ("focus_ms", c_uint16),
        ("press_ms", c_uint32),
        ("limit_ms", c_uint32),
    )


class CAny(Union):
    _fields_ = (
        ("Hello", CHello),
        ("SetAxis", CSetAxis),
        ("SetShaper", CSetShaper),
        ("Arm", CArm),
        ("Reference", CReference),
        ("Move", CMove),
        ("Expose", CExpose),
    )


class CRequest(Structure):
    _fields_ = (("kind", c_uint8), ("command_id", c_uint32), ("any", CAny))


class CWelcome(Structure):
    _fields_ = (
        ("nonce", c_uint32),
        ("boot_id", c_uint32),
        ("last_command_id", c_uint32),
        ("capabilities", c_uint16),
    )


class CStatus(Structure):
    _fields_ = (
        ("boot_id", c_uint32),
        ("state", c_uint8),
        ("flags", c_uint8),
        ("cause", c_uint8),
        ("pan_steps", c_int32),
        ("tilt_steps", c_int32),
        ("running_id", c_uint32),
        ("finished_id", c_uint32),
        ("finished_outcome", c_uint8),
        ("finished_clock_ms", c_uint32),
        ("clock_ms", c_uint32),
    )


class CFinished(Structure):
    _fields_ = (
        ("command_id", c_uint32),
        ("outcome", c_uint8),
        ("pan_steps", c_int32),
        ("tilt_steps", c_int32),
        ("clock_ms", c_uint32),
    )


class CEdge(Structure):
    _fields_ = (("count", c_uint32), ("at", c_int32), ("how", c_uint8))


class CHeld(Structure):
    _fields_ = (("cause", c_uint8), ("pan_steps", c_int32), ("tilt_steps", c_int32), ("clock_ms", c_uint32))


STRUCTURES: dict[type[Message], tuple[str, type[Structure]]] = {
    Welcome: ("codec_welcome", CWelcome),
    Status: ("codec_status", CStatus),
    Finished: ("codec_finished", CFinished),
    Held: ("codec_held", CHeld),
}


def frame_of(library: CDLL, kind: int, seq: int, payload: bytes) -> bytes:
    """The core's frame."""
    out = create_string_buffer(MAX_FRAME)
    library.frame_encode.restype = c_uint8
    count = library.frame_encode(kind, seq, payload, len(payload), out)
    return out.raw[:count]


class Deframing:
    """The core's deframer."""

    def __init__(self, library: CDLL) -> None:
        self._take = library.deframer_take
        self._take.restype = POINTER_TO(c_uint8)
        self._deframer = CDeframer()

    def feed(self, data: bytes) -> list[tuple[int, int, bytes]]:
        """The good frames that end within `data`: kind, seq, payload."""
        frames = []
        for byte in data:
            content = self._take(byref(self._deframer), byte)
            if content:
                whole = bytes(content[: content[0]])
                frames.append((whole[1], whole[2], whole[OVERHEAD:]))
        return frames

    def counters(self) -> dict[str, int]:
        return {name: getattr(self._deframer, name) for name in COUNTERS}


def request_fields(library: CDLL, kind: int, payload: bytes, name: str) -> tuple[int, dict[str, Any]]:
    """Why the core rejects a payload as a request (0 if it does not), and the values that it reads."""
    out = CRequest()
    reason: int = library.codec_request(kind, payload, len(payload), byref(out))
    found: dict[str, Any] = {"command_id": out.command_id}
    part = getattr(out.any, name, None)
    if part is not None:
        found |= {field[0]: getattr(part, field[0]) for field in part._fields_}
    return reason, found


def payload_of(library: CDLL, message: Message) -> bytes:
    """The core's payload of a reply or notice."""
    out = create_string_buffer(MAX_PAYLOAD)
    if isinstance(message, Refused):
        return bytes((message.reason,))
    if isinstance(message, Booted):
        count = library.codec_booted(c_uint32(message.boot_id), int(message.cause), out)
        return out.raw[:count]
    if isinstance(message, Index):
        edges = (CEdge * 2)(
            CEdge(message.pan_edges, message.pan_steps, int(message.pan_edge)),
            CEdge(message.tilt_edges, message.tilt_steps, int(message.tilt_edge)),
        )
        count = library.codec_index(edges, out)
        return out.raw[:count]
    if type(message) not in STRUCTURES:
        return b""
    function, structure = STRUCTURES[type(message)]
    values = [getattr(message, field[0]) for field in structure._fields_]
    count = getattr(library, function)(byref(structure(*values)), out)
    return out.raw[:count]
