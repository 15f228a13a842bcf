"""From a TOML file to a Kit, or to one sentence for each mistake in it."""

import json
import tomllib
from collections.abc import Container
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from controller.errors import InputError
from controller.kit.kit import Kit

Tables = dict[str, Any]


def load_kit(path: Path) -> Kit:
    """Read and validate the kit at `path`.

    Raises InputError with one sentence for each mistake: the key, the value, what is allowed.
    """
    try:
        tables = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}).") from None
    except UnicodeDecodeError:
        raise InputError(f"{path}: is not a text file in UTF-8.") from None
    except (ValueError, RecursionError) as error:  # broken TOML, or a number or nesting beyond all bounds
        raise InputError(f"{path}: is not valid TOML: {error}.") from None
    return kit_from_tables(tables, str(path))


def kit_from_tables(tables: Tables, name: str) -> Kit:
    """Validate parsed TOML `tables`; `name` begins every sentence. Raises InputError."""
    tables, unknown = _with_lens_data(tables)
    sentences = [f"{name}: {sentence}" for sentence in unknown]
    try:
        # As JSON, where a list may become a tuple and a text an enum, but no text a number.
        kit = Kit.model_validate_json(json.dumps(tables, default=str))
    except ValidationError as error:
        raise InputError(sentences + mistakes(error, name, _following(tables, unknown))) from None
    if sentences:
        raise InputError(sentences)
    return kit


def _with_lens_data(tables: Tables) -> tuple[Tables, list[str]]:
    """Fill in what the open lens data knows of a camera or lens that is named by make and model.

    Also returns a sentence for each name that it does not know.
    """
    wanted = {
        part: table
        for part in ("camera", "lens")
        if isinstance(table := tables.get(part), dict) and ("make" in table or "model" in table)
    }
    if not wanted:
        return tables, []
    from controller.kit import lens_data  # noqa: PLC0415  reading the data takes time that most kits need not spend

    return lens_data.filled_in(tables)


def _following(tables: Tables, unknown: list[str]) -> set[str]:
    """Keys that follow from a name, so that they are not missing by themselves."""
    keys: set[str] = set()
    if isinstance(camera := tables.get("camera"), dict) and "make" in camera:
        keys |= {"camera.sensor_width_mm", "camera.sensor_height_mm"}
    if any(sentence.startswith("lens") for sentence in unknown):
        keys.add("lens.focal_length_mm")
    return keys


def mistakes(error: ValidationError, name: str, following: Container[str] = ()) -> list[str]:
    """One sentence for each mistake that pydantic found; keys that are `following` from others are not missing."""
    details = error.errors()
    places = [detail["loc"] for detail in details]
    kept = []
    for detail in details:
        place = detail["loc"]
        inside = any(other != place and other[: len(place)] == place for other in places)
        if detail["type"] == "too_short" and inside:
            continue  # it only looks too short because what is in it is wrong
        if detail["type"] == "missing" and ".".join(map(str, place)) in following:
            continue
        kept.append(_sentence(name, detail))
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
    if detail["type"] in {"too_short", "too_long"}:
        limits = detail["ctx"]
        bound = f"at least {limits['min_length']}" if "min_length" in limits else f"at most {limits['max_length']}"
        return f"{name}: {key} = {_shown(detail['input'])}: give {bound} value(s)."
    return f"{name}: {key} = {_shown(detail['input'])}: {message.replace('input should', 'it should')}."


def _shown(value: object) -> str:
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."
