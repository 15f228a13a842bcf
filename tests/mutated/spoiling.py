"""Ways to damage a file by its kind. Each receives content and chance, and returns content."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from copy import deepcopy
from random import Random
from typing import Any

NASTY: tuple[Any, ...] = (
    0, -1, 1, 2, 0.5, -0.0, 1e-308, 5e-324, 1e308, -1e308, 1e17, 2**31, 2**63, 2**64, 10**400, 999999999,
    float("nan"), float("inf"), float("-inf"), True, False, None, "", " ", "x", "0", "1_0", "1e5", "nan", "-", "\0",
    "\ud800", "\U0001f4f7", "é" * 300, "a" * 60_000, "../../x", "/dev/null", "=1+1", "@x", "9999-12-31T23:59:59Z",
    "0001-01-01T00:00:00", "2026-02-30T00:00:00Z", "%s%n", "{0}", [], {}, [[]], [0], [1, 2, 3], {"a": 1},
)  # fmt: skip
DEEP = 50_000
Spoil = Callable[[bytes, Random], bytes]


def flipped(content: bytes, chance: Random) -> bytes:
    """Flip some bits."""
    spoilt = bytearray(content or b"\0")
    for _ in range(chance.choice((1, 2, 8, 64))):
        spoilt[chance.randrange(len(spoilt))] ^= 1 << chance.randrange(8)
    return bytes(spoilt)


def cut(content: bytes, chance: Random) -> bytes:
    """Keep only the beginning."""
    return content[: chance.randrange(len(content) + 1)]


def pasted(content: bytes, chance: Random) -> bytes:
    """Insert a part of it somewhere else, or noise."""
    at, begin = chance.randrange(len(content) + 1), chance.randrange(len(content) + 1)
    piece = chance.choice((content[begin : begin + chance.randrange(1, 200)], chance.randbytes(40), b"\0" * 30, b"\xff"))
    return content[:at] + piece + content[at + chance.choice((0, len(piece))) :]


def other(content: bytes, chance: Random) -> bytes:
    """Replace it by something else."""
    del content
    return chance.choice(
        (b"", b"\n", b"\xff\xfe", b"\0" * 1000, b"[" * DEEP, b"{" * DEEP, b"SQLite format 3\0", b"%PDF-1.4")
    )


BYTES: tuple[Spoil, ...] = (flipped, cut, pasted, other)


def _leaves(value: Any, at: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    if isinstance(value, dict):
        inside = [leaf for key, each in value.items() for leaf in _leaves(each, (*at, key))]
    elif isinstance(value, list):
        inside = [leaf for number, each in enumerate(value) for leaf in _leaves(each, (*at, number))]
    else:
        inside = []
    return [at, *inside] if at else inside


def nasty(chance: Random) -> Any:
    """A copy of one of NASTY: a list among them may be damaged further."""
    return deepcopy(chance.choice(NASTY))


def spoilt_tree(value: Any, chance: Random) -> Any:
    """A copy of a tree of dicts and lists in which one or a few places have another value, none, or too many."""
    value = json.loads(json.dumps(value))
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        leaves = _leaves(value)
        if not leaves:
            return value
        *path, last = chance.choice(leaves)
        parent = value
        for step in path:
            parent = parent[step]
        how = chance.randrange(8)
        if how == 0:
            del parent[last]
        elif how == 1 and isinstance(parent, dict):
            parent[chance.choice(("unknown", "", "é", str(last).upper()))] = nasty(chance)
        elif how == 2 and isinstance(parent[last], (int, float)) and not isinstance(parent[last], bool):
            parent[last] = parent[last] * chance.choice((-1, 0, 1e-9, 1e3, 1e9, 1e300))
        else:
            parent[last] = nasty(chance)
    return value


def as_toml(value: dict[str, Any]) -> str:
    """A tree as TOML; values that TOML cannot express are written all the same, for the reader to refuse."""
    lines: list[str] = []
    _table(value, "", lines)
    return "\n".join(lines) + "\n"


def _table(table: dict[str, Any], name: str, lines: list[str]) -> None:
    inner = {key: each for key, each in table.items() if isinstance(each, dict)}
    lists = {
        key: each
        for key, each in table.items()
        if isinstance(each, list) and each and all(isinstance(one, dict) for one in each)
    }
    lines += [f"{_key(key)} = {_value(each)}" for key, each in table.items() if key not in inner and key not in lists]
    for key, each in inner.items():
        full = f"{name}.{_key(key)}" if name else _key(key)
        lines.append(f"[{full}]")
        _table(each, full, lines)
    for key, rows in lists.items():
        full = f"{name}.{_key(key)}" if name else _key(key)
        for row in rows:
            lines.append(f"[[{full}]]")
            _table(row, full, lines)


def _key(key: str) -> str:
    return key if key.replace("_", "").isalnum() and key.isascii() else json.dumps(key, ensure_ascii=False)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(key)} = {_value(each)}" for key, each in value.items()) + "}"
    return str(value) if isinstance(value, int) else json.dumps(value, ensure_ascii=False)


def spoilt_csv(text: str, chance: Random) -> str:
    """Cells, lines or columns with other contents, or missing."""
    rows = list(csv.reader(text.splitlines()))
    for _ in range(chance.choice((1, 1, 2, 5))):
        if not rows:
            break
        row = chance.choice(rows)
        how = chance.randrange(6)
        if how == 0:
            rows.remove(row)
        elif how == 1:
            rows.insert(chance.randrange(len(rows) + 1), list(row))
        elif how == 2 and row:
            row.pop(chance.randrange(len(row)))
        elif row:
            row[chance.randrange(len(row))] = str(chance.choice(NASTY))
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()
