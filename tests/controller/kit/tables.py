"""The smallest kit as parsed tables, and the sentences for a changed one."""

from __future__ import annotations

from typing import Any

import pytest

from controller.errors import InputError
from controller.kit.kit import Kit
from controller.kit.load import kit_from_tables

Tables = dict[str, Any]


def smallest() -> Tables:
    """Only the keys without a default: sensor, pixels and focal length."""
    return {
        "camera": {"sensor_width_mm": 36.0, "sensor_height_mm": 24.0, "pixels_wide": 6000, "pixels_high": 4000},
        "lens": {"focal_length_mm": 24.0},
    }


def changed(changes: dict[str, Any]) -> Tables:
    """The smallest kit with dotted keys changed; the value ... removes the key."""
    tables = smallest()
    for key, value in changes.items():
        *parents, last = key.split(".")
        table = tables
        for parent in parents:
            table = table.setdefault(parent, {})
        if value is ...:
            del table[last]
        else:
            table[last] = value
    return tables


def kit_with(changes: dict[str, Any]) -> Kit:
    return kit_from_tables(changed(changes), "kit.toml")


def sentences(changes: dict[str, Any]) -> tuple[str, ...]:
    with pytest.raises(InputError) as caught:
        kit_with(changes)
    return caught.value.sentences
