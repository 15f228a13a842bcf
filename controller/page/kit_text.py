"""Change values in the text of a TOML file and keep everything else: comments, order, tables that nobody here knows.

A comment like `# gear_ratio = 36.0   # turns of the motor` shows a key that states nothing. A value for it goes into
this line; a value that is taken away becomes such a line again. If a line cannot be changed so, tomlkit changes the
file. Whatever changed the text, it counts only if reading it again gives exactly what was asked for.
"""

import copy
import re
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from controller.errors import InputError
from controller.reading import KIT, parse_toml

Value = str | int | float | bool | list[Any]
HEADER = re.compile(r"\s*\[\s*([A-Za-z0-9_.-]+)\s*\]\s*(?:#.*)?")
FAILURES = (TOMLKitError, ValueError, TypeError, KeyError, AttributeError, IndexError, RecursionError)
"""What a library may raise on odd files; the sentence then says where to change them."""


def with_values(text: str, name: str, values: Mapping[str, Value | None]) -> str:
    """`text` with values by dotted key; None takes a key out. `name` is the file. Raises InputError."""
    tables = parse_toml(text, name, KIT)
    for key, value in values.items():
        wanted = _changed(tables, key, value)
        if wanted is None:
            raise InputError(f"{name}: {key} cannot be changed in the form here. Change it in the file itself.")
        if _same(wanted, tables):
            continue
        text = next((each for each in _tries(text, key, value) if _reads_as(each, wanted)), "")
        if not text:
            raise InputError(f"{name}: {key} cannot be changed in the form here. Change it in the file itself.")
        tables = wanted
    return text


def value_at(tables: Mapping[str, Any], key: str) -> Any:
    """The value of a dotted key; None if the file does not state it."""
    found: Any = tables
    for part in key.split("."):
        found = found.get(part) if isinstance(found, dict) else None
    return found


def _changed(tables: dict[str, Any], key: str, value: Value | None) -> dict[str, Any] | None:
    """The tables with that value; None if something that is no table is in the way."""
    changed = copy.deepcopy(tables)
    *above, last = key.split(".")
    table = changed
    for part in above:
        if value is None and part not in table:
            return changed
        table = table.setdefault(part, {})
        if not isinstance(table, dict):
            return None
    if value is None:
        table.pop(last, None)
    else:
        table[last] = value
    return changed


def _tries(text: str, key: str, value: Value | None) -> Iterator[str]:
    yield from _by_line(text, key, value)
    try:
        yield _by_library(text, key, value)
    except FAILURES:
        return


def _by_line(text: str, key: str, value: Value | None) -> Iterator[str]:
    """The text with one line changed: the key's comment becomes a value, or the other way round."""
    table, _, last = key.rpartition(".")
    lines = text.split("\n")
    if value is None:
        wanted = re.compile(rf"{re.escape(last)}\s*=[^#]*(?:#.*)?")
    else:
        wanted = re.compile(rf"#\s*{re.escape(last)}\s*=\s*([^#]*?)(\s*#.*)?")
    here = ""
    for number, line in enumerate(lines):
        if header := HEADER.fullmatch(line):
            here = header[1]
        elif here == table and (found := wanted.fullmatch(line)):
            new = f"# {line}" if value is None else f"{last} = {tomlkit.item(value).as_string()}{found[2] or ''}"
            yield "\n".join([*lines[:number], new, *lines[number + 1 :]])


def _by_library(text: str, key: str, value: Value | None) -> str:
    document = tomlkit.parse(text)
    *above, last = key.split(".")
    table: Any = document
    for part in above:
        if part not in table:
            table[part] = tomlkit.table()
        table = table[part]
    if value is None:
        del table[last]
    else:
        table[last] = value
    return tomlkit.dumps(document)


def _reads_as(text: str, wanted: dict[str, Any]) -> bool:
    try:
        return _same(tomllib.loads(text), wanted)
    except (ValueError, RecursionError):
        return False


def _same(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """Whether two files state the same. 1, 1.0 and true differ here; an empty table states nothing."""
    return bool(_exact(_stated(one)) == _exact(_stated(other)))


def _exact(value: Any) -> Any:
    """A value that is equal only to one of the same types."""
    if isinstance(value, dict):
        return {key: _exact(each) for key, each in value.items()}
    if isinstance(value, list):
        return [_exact(each) for each in value]
    return type(value).__name__, repr(value)


def _stated(table: dict[str, Any]) -> dict[str, Any]:
    below = {key: _stated(value) if isinstance(value, dict) else value for key, value in table.items()}
    return {key: value for key, value in below.items() if value != {}}
