"""The golden rows in protocol/vectors.json and the example exchange in protocol/SPEC.md.

Run as a module (`python -m tests.protocol.golden`) to write both again after a change of the protocol.
"""

from __future__ import annotations

import json
import re
from binascii import crc_hqx
from dataclasses import fields
from pathlib import Path

from protocol.codec import PROTOCOL_VERSION, encode_message, frame_of
from protocol.framing import CRC_START, LEAD, LENGTHS, MAX_ENCODED, check_bytes, cobs_encode
from protocol.messages import (
    ZERO_SWITCHES,
    Accepted,
    Arm,
    BoardState,
    Booted,
    Capability,
    Cause,
    EdgeFlag,
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
    Outcome,
    Reason,
    Reference,
    Refused,
    SetAxis,
    SetShaper,
    Status,
    StatusFlag,
    Stop,
    Welcome,
)
from protocol.shaper import Shaper, set_shaper
from protocol.units import NO_COMMAND, AxisId, BootId, CommandId, Steps

PROTOCOL_FOLDER = Path(__file__).parents[2] / "protocol"
VECTORS_FILE = PROTOCOL_FOLDER / "vectors.json"
SPEC_FILE = PROTOCOL_FOLDER / "SPEC.md"

BOOT = BootId(0x5EED0B07)
U32 = 0xFFFF_FFFF
I32_MIN, I32_MAX = Steps(-(2**31)), Steps(2**31 - 1)
ALL_FITTED = Capability.SYNC_CONTACT | ZERO_SWITCHES | Capability.HALF_PRESS | Capability.SHAPER
BOTH_KNOWN = StatusFlag.PAN_KNOWN | StatusFlag.TILT_KNOWN

ZVD_8_HZ = Shaper(((0, 19_056), (63, 32_567), (125, 13_913)))
"""Three impulses for a camera that rings at 8 Hz with a damping ratio of 0.05 (Singer and Seering 1990)."""

VECTORS: tuple[tuple[str, int, Message], ...] = (
    ("hello", 0, Hello(1, 2, 0xC0FFEE01)),
    ("hello of version 1.1", 0, Hello(1, 1, 0xC0FFEE01)),
    ("hello of version 1.0", 0, Hello(1, 0, 0xC0FFEE01)),
    ("hello, all zero", 0, Hello(0, 0, 0)),
    ("get status", 1, GetStatus()),
    ("get status, seq 255", 255, GetStatus()),
    ("set axis, pan", 2, SetAxis(CommandId(1), AxisId.PAN, Steps(-36000), Steps(36000), 4000, 8000)),
    ("set axis, extremes", 3, SetAxis(CommandId(U32), AxisId.TILT, I32_MIN, I32_MAX, U32, U32)),
    ("set shaper", 15, set_shaper(CommandId(3), AxisId.PAN, ZVD_8_HZ)),
    ("set shaper, none", 16, set_shaper(CommandId(4), AxisId.TILT, Shaper())),
    ("set shaper, extremes", 17, SetShaper(CommandId(U32), AxisId.TILT, *(65535,) * 10)),
    ("arm", 4, Arm(CommandId(3), BOOT, 5000)),
    ("reference", 5, Reference(CommandId(4), 2000, 1500, 8)),
    ("move", 6, Move(CommandId(5), Steps(-12345), Steps(6789))),
    ("move to zero", 7, Move(CommandId(256), Steps(0), Steps(0))),
    ("move, extremes", 8, Move(CommandId(U32), I32_MIN, I32_MAX)),
    ("expose", 9, Expose(CommandId(6), 17, 2, 300, 120, 2500)),
    ("expose, extremes", 10, Expose(CommandId(U32), U32, 255, 65535, U32, U32)),
    ("stop", 11, Stop()),
    ("halt", 12, Halt()),
    ("get index", 13, GetIndex()),
    ("welcome", 0, Welcome(1, 2, 0xC0FFEE01, BOOT, NO_COMMAND, ALL_FITTED, 64, 40000)),
    ("accepted", 6, Accepted()),
    ("refused", 6, Refused(Reason.UNKNOWN_POSITION)),
    (
        "status at power-on",
        1,
        Status(
            BOOT, BoardState.DISARMED, StatusFlag(0), Cause.POWER_ON, Steps(0), Steps(0),
            NO_COMMAND, NO_COMMAND, Outcome.NONE, 0, 812,
        ),
    ),
    (
        "status while moving",
        1,
        Status(
            BOOT, BoardState.MOVING, StatusFlag.ARMED | BOTH_KNOWN, Cause.NONE, Steps(-11002), Steps(6789),
            CommandId(5), CommandId(4), Outcome.REFERENCED, 61234, 65536,
        ),
    ),
    (
        "status, no zero byte",
        171,
        Status(
            BootId(U32), BoardState.STOPPING, StatusFlag.ARMED | BOTH_KNOWN, Cause.STOP_SWITCH, Steps(-1),
            Steps(-1), CommandId(U32), CommandId(U32), Outcome.CUT_SHORT, U32, U32,
        ),
    ),
    (
        "status after a restart by the watchdog",
        1,
        Status(
            BOOT, BoardState.DISARMED, StatusFlag(0), Cause.WATCHDOG, Steps(0), Steps(0),
            NO_COMMAND, NO_COMMAND, Outcome.NONE, 0, 812,
        ),
    ),
    (
        "status, pan's switch was not met",
        1,
        Status(
            BOOT, BoardState.DISARMED, StatusFlag.TILT_KNOWN, Cause.ZERO_NOT_FOUND, Steps(74282), Steps(0),
            NO_COMMAND, CommandId(4), Outcome.CUT_SHORT, 81234, 82000,
        ),
    ),
    ("index before any change", 13, Index(0, Steps(0), EdgeFlag(0), 0, Steps(0), EdgeFlag(0))),
    ("index", 14, Index(17, Steps(-1), EdgeFlag(0), 256, Steps(2), EdgeFlag.UPWARD | EdgeFlag.ON)),
    ("booted", 0, Booted(BOOT, Cause.POWER_ON)),
    ("finished", 0, Finished(CommandId(5), Outcome.ARRIVED, Steps(-12345), Steps(6789), 66000)),
    ("held", 0, Held(Cause.HOST_SILENCE, Steps(-12345), Steps(6789), 90000)),
    ("held, zero not found", 0, Held(Cause.ZERO_NOT_FOUND, Steps(74282), Steps(0), 81234)),
)  # fmt: skip

# Sender, seq and message.
EXCHANGE: tuple[tuple[str, int, Message], ...] = (
    ("board", 0, Booted(BOOT, Cause.POWER_ON)),
    ("host", 0, Hello(1, 2, 0xC0FFEE01)),
    ("board", 0, Welcome(1, 2, 0xC0FFEE01, BOOT, NO_COMMAND, ALL_FITTED, 64, 40000)),
    ("host", 1, SetAxis(CommandId(1), AxisId.PAN, Steps(-36000), Steps(36000), 4000, 8000)),
    ("board", 1, Accepted()),
    ("host", 2, SetAxis(CommandId(2), AxisId.TILT, Steps(-9000), Steps(9000), 3000, 6000)),
    ("board", 2, Accepted()),
    ("host", 3, set_shaper(CommandId(3), AxisId.PAN, ZVD_8_HZ)),
    ("board", 3, Accepted()),
    ("host", 4, Arm(CommandId(4), BOOT, 5000)),
    ("board", 4, Accepted()),
    ("host", 5, Move(CommandId(5), Steps(1200), Steps(-300))),
    ("board", 5, Refused(Reason.UNKNOWN_POSITION)),
    ("host", 6, Reference(CommandId(5), 2000, 1500, 8)),
    ("board", 6, Accepted()),
    ("board", 0, Finished(CommandId(5), Outcome.REFERENCED, Steps(0), Steps(0), 9120)),
    ("host", 7, Move(CommandId(6), Steps(1200), Steps(-300))),
    ("board", 7, Accepted()),
    ("board", 0, Finished(CommandId(6), Outcome.ARRIVED, Steps(1200), Steps(-300), 10115)),
    ("host", 8, Expose(CommandId(7), 0, 0, 300, 120, 2500)),
    ("board", 8, Accepted()),
    ("board", 0, Finished(CommandId(7), Outcome.EXPOSED_SYNC, Steps(1200), Steps(-300), 11045)),
    ("host", 9, GetStatus()),
    (
        "board",
        9,
        Status(
            BOOT, BoardState.READY, StatusFlag.ARMED | BOTH_KNOWN, Cause.NONE, Steps(1200), Steps(-300),
            NO_COMMAND, CommandId(7), Outcome.EXPOSED_SYNC, 11045, 11125,
        ),
    ),
    ("host", 10, Stop()),
    ("board", 10, Accepted()),
)  # fmt: skip


def _run(stuffed: bytes, check: bytes | None = None) -> bytes:
    """A run between delimiters, with the correct check unless another is given."""
    return LEAD + stuffed + (check_bytes(crc_hqx(stuffed, CRC_START)) if check is None else check) + b"\0"


def _content(*content: int) -> bytes:
    return _run(cobs_encode(bytes(content)))


STOP = bytes((4, 3, 0x4E, 9))
"""Stop with seq 9, stuffed."""
STOP_CRC = crc_hqx(STOP, CRC_START)
STOP_CHECK = check_bytes(STOP_CRC)


def _wrong(at: int, bits: int) -> bytes:
    """Stop with wrong bits in one byte of its check."""
    return _run(STOP, STOP_CHECK[:at] + bytes((STOP_CHECK[at] ^ bits,)) + STOP_CHECK[at + 1 :])


# Bytes that contain no frame, and the counter that says why.
REJECTED: tuple[tuple[str, bytes, str], ...] = (
    ("a stuffing code that points past the end", _run(bytes((5, 3, 0x4E, 9))), "bad_cobs"),
    ("a later stuffing code that points past the end", _run(bytes((3, 0x84, 0x4E, 3, 1))), "bad_cobs"),
    ("a check and nothing before it", _run(b""), "bad_head"),
    ("an empty content", _content(), "bad_head"),
    ("shorter than any content", _content(LENGTHS[2], 0x4E), "bad_head"),
    ("one byte less than it says", _content(LENGTHS[4], 0x4E, 9), "bad_head"),
    ("one byte more than it says", _content(LENGTHS[3], 0x4E, 9, 1), "bad_head"),
    ("a length of zero", _content(0, 0x4E, 9), "bad_head"),
    ("a length that counts the check too", _content(LENGTHS[6], 0x4E, 9), "bad_head"),
    ("a length without its parity", _content(4, 0x4E, 9, 1), "bad_head"),
    ("a length of odd parity", _content(0x83, 0x4E, 9), "bad_head"),
    ("a kind of odd parity", _content(LENGTHS[3], 0x4F, 9), "bad_head"),
    ("a kind below 40", _content(LENGTHS[3], 0x0C, 9), "bad_head"),
    ("a board's kind below C0", _content(LENGTHS[3], 0x8D, 9), "bad_head"),
    ("shorter than a check", LEAD + b"\x80\0", "bad_crc"),
    ("without a check", LEAD + STOP + b"\0", "bad_crc"),
    ("one wrong bit in the checksum", _wrong(2, 0x01), "bad_crc"),
    ("one wrong bit in the content", _run(bytes((4, 3, 0x4E, 8)), STOP_CHECK), "bad_crc"),
    ("wrong marker in the first byte of the check", _wrong(0, 0x40), "bad_crc"),
    ("no marker in the second byte of the check", _wrong(1, 0x80), "bad_crc"),
    ("wrong marker in the third byte of the check", _wrong(2, 0x40), "bad_crc"),
    ("a bit in the empty place of the third byte", _wrong(2, 0x10), "bad_crc"),
    ("check bytes in another order", _run(STOP, STOP_CHECK[1::-1] + STOP_CHECK[2:]), "bad_crc"),
    ("checksum as two plain bytes", _run(STOP, STOP_CRC.to_bytes(2, "big")), "bad_crc"),
    ("checksum with a zero start register", _run(STOP, check_bytes(crc_hqx(STOP, 0))), "bad_crc"),
    ("checksum low byte first", _run(STOP, check_bytes(STOP_CRC >> 8 | STOP_CRC << 8 & 0xFF00)), "bad_crc"),
    ("checksum of the content before stuffing", _run(STOP, check_bytes(crc_hqx(STOP[1:], CRC_START))), "bad_crc"),
    ("a payload of 33 bytes", _content(36, *[7] * 35), "oversize"),
    ("longer than any frame", LEAD + b"\1" * (MAX_ENCODED + 1) + b"\0", "oversize"),
    ("two zeros in front", _run(STOP)[1:], "unled"),
    ("one zero in front", _run(STOP)[2:], "unled"),
    ("no zero in front", _run(STOP)[3:], "unled"),
)  # fmt: skip


def fields_of(message: Message) -> dict[str, int]:
    return {field.name: int(getattr(message, field.name)) for field in fields(message)}


def vectors_text() -> str:
    """One row a line, so that a change shows only the changed rows."""
    rows = []
    for name, seq, message in VECTORS:
        kind, payload = encode_message(message)
        row = {
            "name": name,
            "message": type(message).__name__,
            "fields": fields_of(message),
            "kind": kind,
            "seq": seq,
            "payload": payload.hex(),
            "frame": frame_of(message, seq).hex(),
        }
        rows.append("    " + json.dumps(row))
    rejected = ["    " + json.dumps({"name": name, "bytes": wire.hex(), "counter": why}) for name, wire, why in REJECTED]
    return (
        f'{{\n  "version": [{PROTOCOL_VERSION.major}, {PROTOCOL_VERSION.minor}],\n'
        '  "vectors": [\n' + ",\n".join(rows) + "\n  ],\n"
        '  "rejected": [\n' + ",\n".join(rejected) + "\n  ]\n}\n"
    )


def exchange_text() -> str:
    """The example exchange as in the specification."""
    lines = []
    for speaker, seq, message in EXCHANGE:
        values = ", ".join(
            f"{name}={getattr(message, name).name or 0 if hasattr(getattr(message, name), 'name') else value}"
            for name, value in fields_of(message).items()
        )
        lines.append(f"{speaker:5}  seq {seq}  {type(message).__name__}({values})")
        lines.append(f"       {frame_of(message, seq).hex(' ')}")
    return "\n".join(lines)


EXCHANGE_BLOCK = re.compile(r"(<!-- exchange -->\n+```text\n)(.*?)\n?(```\n)", re.DOTALL)


def exchange_in_spec() -> str:
    found = EXCHANGE_BLOCK.search(SPEC_FILE.read_text(encoding="utf-8"))
    assert found is not None
    return found.group(2)


def main() -> None:
    VECTORS_FILE.write_text(vectors_text(), encoding="utf-8")
    spec = SPEC_FILE.read_text(encoding="utf-8")
    SPEC_FILE.write_text(EXCHANGE_BLOCK.sub(lambda m: f"{m[1]}{exchange_text()}\n{m[3]}", spec), encoding="utf-8")


if __name__ == "__main__":
    main()
