"""Load a kit from a TOML file, with one sentence for each mistake in it."""

import json
from collections.abc import Container, Sequence
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from controller.amounts import counted
from controller.bounds import BOUNDS
from controller.errors import InputError
from controller.kit.kit import Kit
from controller.kit.provenance import sources_of
from controller.reading import KIT, SHOWN, read_toml
from controller.shown import shown

Tables = dict[str, Any]
MOST_TOLD = 20  # mistakes


def load_kit(path: Path) -> Kit:
    """Read and validate the kit at `path`.

    Raises InputError with one sentence for each mistake: the key, the value, and what is allowed.
    """
    return kit_from_tables(read_toml(path, KIT), str(path))


def kit_from_tables(tables: Tables, name: str) -> Kit:
    """Validate parsed TOML `tables`; `name` begins every sentence. Raises InputError."""
    filled, unknown = _with_lens_data({key: table for key, table in tables.items() if key != "sources"})
    sentences = [f"{name}: {sentence}" for sentence in unknown]
    if "sources" in tables:  # it is in a plan's kit, and only this program may write it
        sentences.append(f"{name}: sources = {_shown(tables['sources'])}: there is no such key.")
    try:
        # As JSON, a list may become a tuple and a text an enum, but a text never becomes a number. NaN is refused in
        # words.
        kit = Kit.model_validate_json(json.dumps(filled, default=str))
    except ValidationError as error:
        raise InputError(sentences + mistakes(error, name, _following(tables, unknown))) from None
    if too_long := kit.exposure.too_long_s:
        sentences.append(f"{name}: {_too_long_sentence(kit, too_long)}")
    if sentences:
        raise InputError(sentences)
    return kit.model_copy(update={"sources": sources_of(kit, tables)})


def _too_long_sentence(kit: Kit, too_long: Sequence[float]) -> str:
    """The mistake of an exposure too long for the camera's own shutter.

    The model itself allows it, because a session of an older version may contain such exposures and must load.
    """
    exposure = kit.exposure
    times = " and ".join(f"{time:g} s" for time in too_long)
    bracket = "" if len(exposure.bracket_ev) == 1 else " with this bracket_ev"
    source = "" if "longest_timed_s" in exposure.model_fields_set else ", unless stated otherwise"
    return (
        f"exposure.shutter_seconds = {exposure.shutter_seconds:g}{bracket} makes {times}, and the camera's own shutter "
        f"ends at {exposure.longest_timed_s:g} s (longest_timed_s{source}). Set bulb = true and the camera to B, so that "
        f"the board times it, or {'shorten the bracket' if bracket else 'use a shorter time'}."
    )


def _with_lens_data(tables: Tables) -> tuple[Tables, list[str]]:
    """Add what the open lens data knows about a camera or lens named by make and model.

    Also returns a sentence for each unknown name.
    """
    wanted = {
        part: table
        for part in ("camera", "lens")
        if isinstance(table := tables.get(part), dict) and ("make" in table or "model" in table)
    }
    if not wanted:
        return tables, []
    from controller.kit import lens_data  # noqa: PLC0415  reading the data takes time that most kits do not need

    return lens_data.filled_in(tables)


def _following(tables: Tables, unknown: list[str]) -> set[str]:
    """Keys that a make and model supply, so they do not count as missing."""
    keys: set[str] = set()
    if isinstance(camera := tables.get("camera"), dict) and "make" in camera:
        keys |= {"camera.sensor_width_mm", "camera.sensor_height_mm"}
    if any(sentence.startswith("lens") for sentence in unknown):
        keys.add("lens.focal_length_mm")
    return keys


WANTED = {
    **dict.fromkeys(("int_type", "int_parsing", "int_from_float", "int_parsing_size"), "a whole number"),
    **dict.fromkeys(("float_type", "float_parsing"), "a number"),
    "finite_number": "a finite number",
    "string_type": "a text",
    **dict.fromkeys(("bool_type", "bool_parsing"), "true or false"),
    **dict.fromkeys(("list_type", "tuple_type"), "a list"),
    **dict.fromkeys(
        ("datetime_type", "datetime_parsing", "datetime_from_date_parsing", "datetime_object_invalid", "timezone_aware"),
        "a moment with its offset from UTC, as in 2026-06-21T07:00:00+02:00",
    ),
}
"""What a value should be, in our words, by the type of mistake."""


def mistakes(error: ValidationError, name: str, following: Container[str] = ()) -> list[str]:
    """One sentence for each mistake that pydantic found; keys in `following` do not count as missing."""
    details = error.errors()
    places = [detail["loc"] for detail in details]
    kept = []
    for detail in details:
        place = detail["loc"]
        inside = any(other != place and other[: len(place)] == place for other in places)
        if detail["type"] == "too_short" and inside:
            continue  # it is too short only because its content is wrong
        if detail["type"] == "missing" and ".".join(map(str, place)) in following:
            continue
        kept.append(_sentence(name, detail))
    if len(kept) > MOST_TOLD:
        kept[MOST_TOLD:] = [f"{name}: has {len(kept) - MOST_TOLD} more mistakes. Correct these first."]
    return kept


def _sentence(name: str, detail: Any) -> str:
    key = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in detail["loc"])[1:]
    message: str = detail["msg"].removeprefix("Value error, ")
    message = message[0].lower() + message[1:]
    if detail["type"] == "missing":
        return f"{name}: {key} is missing."
    if detail["type"] == "extra_forbidden":
        return f"{name}: {key} = {_shown(detail['input'])}: there is no such key."
    if detail["type"] in {"model_type", "model_attributes_type", "dict_type"}:
        return f"{name}: {key} = {_shown(detail['input'])}: it should be a table, [{key}]."
    if detail["type"] == "value_error" and isinstance(detail["input"], dict):
        return f"{name}: in [{key}], {message}."
    held = BOUNDS.get(next((part for part in reversed(detail["loc"]) if isinstance(part, str)), ""))
    if held is not None and detail["type"] in {"greater_than_equal", "less_than_equal"}:
        return f"{name}: {key} = {_shown(detail['input'])}: it should be {held.text()}."
    if detail["type"] in {"too_short", "too_long"}:
        limits = detail["ctx"]
        least = "min_length" in limits
        bound = (
            f"at least {counted(limits['min_length'], 'value')}" if least else f"at most {limits['max_length']} values"
        )
        return f"{name}: {key} = {_shown(detail['input'])}: give {bound}."
    if detail["type"] in WANTED:
        return f"{name}: {key} = {_shown(detail['input'])}: it should be {WANTED[detail['type']]}."
    return f"{name}: {key} = {_shown(detail['input'])}: {message.replace('input should', 'it should')}."


def _shown(value: object) -> str:
    return shown(f'"{value}"' if isinstance(value, str) else str(value), SHOWN)
