"""From a TOML file to a Kit, or to one sentence for each mistake in it."""

import tomllib
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
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path}: is not valid TOML: {error}.") from None
    return kit_from_tables(tables, str(path))


def kit_from_tables(tables: Tables, name: str) -> Kit:
    """Validate parsed TOML `tables`; `name` begins every sentence. Raises InputError."""
    try:
        return Kit.model_validate(_with_lens_data(tables))
    except ValidationError as error:
        raise InputError(mistakes(error, name)) from None
    except InputError as error:
        raise InputError(f"{name}: {sentence}" for sentence in error.sentences) from None


def _with_lens_data(tables: Tables) -> Tables:
    """Fill in what the open lens data knows of a camera or lens that is named by make and model."""
    wanted = {
        part: table
        for part in ("camera", "lens")
        if isinstance(table := tables.get(part), dict) and ("make" in table or "model" in table)
    }
    if not wanted:
        return tables
    from controller.kit import lens_data  # noqa: PLC0415  reading the data takes time that most kits need not spend

    return lens_data.filled_in(tables)


def mistakes(error: ValidationError, name: str) -> list[str]:
    """One sentence for each mistake that pydantic found."""
    return [_sentence(name, detail) for detail in error.errors()]


def _sentence(name: str, detail: Any) -> str:
    key = ".".join(str(part) for part in detail["loc"])
    message: str = detail["msg"].removeprefix("Value error, ")
    message = message[0].lower() + message[1:]
    if detail["type"] == "missing":
        return f"{name}: {key} is missing."
    if detail["type"] == "extra_forbidden":
        return f"{name}: {key} = {_shown(detail['input'])}: there is no such key."
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
