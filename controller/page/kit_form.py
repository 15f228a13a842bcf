"""The form of a kit: the figures that matter, with the meanings, units and bounds that the kit itself has.

Values travel as texts, as they are typed. A text that is not what its key wants goes into the file's tables as a text, so
that the program's own sentence says what is wrong with it.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

from controller.bounds import BOUNDS
from controller.kit.schema import Schema, kit_schema
from controller.numerals import number_in, whole_in
from controller.page.kit_text import Value, value_at

AXIS_KEYS = (
    "full_steps_per_turn", "microsteps", "gear_ratio", "max_speed_deg_s", "max_accel_deg_s2", "min_deg", "max_deg",
    "zero_switch",
)  # fmt: skip
GROUPS: dict[str, tuple[str, tuple[str, ...]]] = {
    "camera": (
        "Camera",
        ("make", "model", "sensor_width_mm", "sensor_height_mm", "pixels_wide", "pixels_high", "mounted"),
    ),
    "lens": ("Lens", ("make", "model", "focal_length_mm", "projection")),
    "exposure": ("Exposure", ("shutter_seconds", "bracket_ev", "f_number", "release_lag_ms", "ready_ms")),
    "head.pan": ("Head, pan", AXIS_KEYS),
    "head.tilt": ("Head, tilt", AXIS_KEYS),
    "board": ("Board", ("baud", "sync_contact", "shapes_ramps", "wind_sensor")),
    "power": ("Power", ("head_watts", "camera_watts", "battery_watt_hours")),
}
"""The tables of the form, with their headings and keys; the file itself has the rest."""
SIGNS = {"deg": "°", "deg/s": "°/s", "deg/s2": "°/s²", "share": ""}
WHOLE_WORDS = {"max": "highest", "min": "lowest", "accel": "acceleration", "ev": "", "seconds": "time", "f": "f-"}
ENDINGS = ("_deg_s2", "_deg_s", "_mm", "_ms", "_deg", "_watt_hours")
LABELS = {"min_deg": "Limit one way", "max_deg": "Limit the other way", "f_number": "Aperture, f/"}
Kind = Literal["text", "choice", "switch", "number", "whole", "numbers"]


@dataclass(frozen=True, slots=True)
class KitField:
    """One field: its dotted key, what it is called and what it means, its unit and range, and how it is typed."""

    key: str
    label: str
    meaning: str
    kind: Kind
    unit: str
    range: str
    choices: tuple[str, ...]
    default: str
    """What counts if the file does not state it; "" if it must be stated or looked up, or stays unknown."""

    @property
    def id(self) -> str:
        """The key as an identifier of HTML."""
        return self.key.replace(".", "-")

    def typed(self, text: str) -> Value | None:
        """The value that a text states; None if it states nothing."""
        text = text.strip()
        if not text:
            return None
        if self.kind == "switch":
            return {"true": True, "false": False}.get(text, text)
        if self.kind == "numbers":
            numbers = [_number(each) for each in re.split(r"[\s,;]+", text.strip("[] "))]
            return text if None in numbers else numbers
        number = _number(text) if self.kind in ("number", "whole") else None
        return text if number is None else number


@dataclass(frozen=True, slots=True)
class KitGroup:
    """A table of the kit in the form."""

    table: str
    heading: str
    meaning: str
    fields: tuple[KitField, ...]


def _number(text: str) -> int | float | None:
    """A number as it is typed; a shutter time may be typed as it is engraved, 1/80."""
    one, slash, other = text.partition("/")
    if slash:
        above, below = number_in(one), number_in(other)
        return None if above is None or not below else float(f"{above / below:.6g}")
    whole = whole_in(text)
    return number_in(text) if whole is None else whole


def shown_value(value: Any) -> str:
    """A value of the file as it is typed; "" if the file does not state it. The inverse of `KitField.typed`."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return ", ".join(map(shown_value, value))
    return str(value)


@cache
def groups() -> tuple[KitGroup, ...]:
    """The form."""
    schema = kit_schema()
    return tuple(
        KitGroup(
            table,
            heading,
            _table_of(schema, table)[1],
            tuple(_field(f"{table}.{key}", _table_of(schema, table)[0]["properties"][key]) for key in keys),
        )
        for table, (heading, keys) in GROUPS.items()
    )


def fields() -> dict[str, KitField]:
    """All fields by key."""
    return {field.key: field for group in groups() for field in group.fields}


def _table_of(schema: Schema, name: str) -> tuple[Schema, str]:
    """A table's own schema, and what the table means."""
    found, meaning = schema, ""
    for part in name.split("."):
        entry = found["properties"][part]
        meaning = entry["description"]
        found = schema["$defs"][entry["$ref"].rpartition("/")[2]]
    return found, meaning


def _field(key: str, part: Schema) -> KitField:
    name = key.rpartition(".")[2]
    schema = kit_schema()
    if "$ref" in part:
        part = {**schema["$defs"][part["$ref"].rpartition("/")[2]], **part}
    choices = tuple(part.get("enum", ()))
    kinds: dict[str, Kind] = {"boolean": "switch", "integer": "whole", "number": "number", "array": "numbers"}
    kind = "choice" if choices else kinds.get(part.get("type", ""), "text")
    bound = BOUNDS.get(name)
    unit = "" if bound is None else SIGNS.get(bound.unit, bound.unit)
    return KitField(
        key=key,
        label=_label(name),
        meaning=part["description"],
        kind=kind,
        unit=unit,
        range="" if bound is None else bound.text(),
        choices=choices or (("true", "false") if kind == "switch" else ()),
        default=shown_value(part.get("default")),
    )


def _label(name: str) -> str:
    if name in LABELS:
        return LABELS[name]
    bare = next((name.removesuffix(each) for each in ENDINGS if name.endswith(each)), name)
    words = " ".join(filter(None, (WHOLE_WORDS.get(each, each) for each in bare.split("_"))))
    return words[:1].upper() + words[1:]


def changes(tables: Mapping[str, Any], typed: Mapping[str, str]) -> dict[str, Value | None]:
    """What the form changes in a file: the values whose texts differ from those that the file has."""
    known = fields()
    return {
        key: known[key].typed(text) for key, text in typed.items() if text.strip() != shown_value(value_at(tables, key))
    }


def key_of(sentence: str, name: str, keys: Sequence[str]) -> str:
    """The field that a sentence about the file `name` is about; "" if it is none of the form."""
    found = re.match(r"(?:in \[([\w.]+)\], )?([\w.]*\w)", sentence.removeprefix(f"{name}: "))
    if found is None:
        return ""
    key = f"{found[1]}.{found[2]}" if found[1] else found[2]
    return key if key in keys else next((each for each in keys if each.startswith(f"{key}.")), "")
