"""Models as pages: their JSON Schema as Markdown."""

import tomllib
from pathlib import Path
from typing import Any

WORDS: dict[str, dict[str, str]] = tomllib.loads(Path(__file__).with_name("model_words.toml").read_text(encoding="utf-8"))
"""Meanings of keys by their model's name, for models that say them only as a whole."""
Schema = dict[str, Any]


def model_page(made_by: str, title: str, about: str, schema: Schema, elsewhere: frozenset[str]) -> str:
    """A page with a table of keys for the model and for each model in it, except those in `elsewhere`."""
    parts = [made_by, f"# {title}", about, _sentences(schema.get("description", ""))]
    parts.append(_table(schema, schema, elsewhere, WORDS.get(schema.get("title", ""), {})))
    for name, part in sorted(schema.get("$defs", {}).items()):
        if "properties" in part and name not in elsewhere:
            parts += [
                f"## {name}",
                _sentences(part.get("description", "")),
                _table(part, schema, elsewhere, WORDS.get(name, {})),
            ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _sentences(text: str) -> str:
    """A docstring as Markdown: lists stay lists, the rest becomes paragraphs."""
    parts = text.split("\n\n")
    return "\n\n".join(part if part.lstrip().startswith("- ") else " ".join(part.split()) for part in parts)


def _table(schema: Schema, root: Schema, elsewhere: frozenset[str], words: dict[str, str]) -> str:
    rows = ["| key | holds | meaning |", "| --- | --- | --- |"]
    for key, part in schema["properties"].items():
        meaning = " ".join(part.get("description", words.get(key, "")).split())
        if "description" in part and key in schema.get("required", ()):
            meaning += " **Needed.**"
        if part.get("default") not in (None, "") and not isinstance(part["default"], dict):
            meaning += f" Default: `{_value(part['default'])}`."
        rows.append(f"| `{key}` | {_holds(part, root, elsewhere)} | {meaning.strip()} |")
    return "\n".join(rows)


def _value(value: Any) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def _holds(part: Schema, root: Schema, elsewhere: frozenset[str]) -> str:
    """What a key contains, in words, with its bounds."""

    def inside(each: Schema) -> str:
        return _holds(each, root, elsewhere)

    if "$ref" in part:
        name = part["$ref"].removeprefix("#/$defs/")
        if "properties" not in root.get("$defs", {}).get(name, {"properties": {}}):
            return inside(root["$defs"][name])
        page, place = ("kit.md" if name in elsewhere else "", "" if name == "Kit" else f"#{name.lower()}")
        return f"[{name}]({page}{place})"
    if "anyOf" in part:
        return " or ".join(inside(each) for each in part["anyOf"])
    if "const" in part:
        return f"`{part['const']}`"
    if "enum" in part:
        return " or ".join(f"`{each}`" for each in part["enum"])
    match part.get("type"):
        case "array" if "prefixItems" in part:
            return "list of two: " + ", ".join(inside(each) for each in part["prefixItems"])
        case "array":
            return "list of: " + inside(part["items"])
        case "object":
            patterns = list(part.get("patternProperties", {}).values())
            return "table of: " + inside(patterns[0] if patterns else part.get("additionalProperties", {}))
        case "integer" | "number":
            return ("number" if part["type"] == "number" else "whole number") + _bounds(part)
        case "string":
            return {"date-time": "date and time"}.get(part.get("format", ""), "text")
        case known:
            return {"boolean": "true or false", "null": "null"}.get(str(known), "anything")


def _bounds(part: Schema) -> str:
    least, above = part.get("minimum"), part.get("exclusiveMinimum")
    most, below = part.get("maximum"), part.get("exclusiveMaximum")
    return bounds(least, most, above, below)


def bounds(least: float | None, most: float | None, above: float | None = None, below: float | None = None) -> str:
    """Bounds of a number in words, to follow its name; `above` and `below` are exclusive."""
    if least is not None and most is not None:
        return f", {least:.10g} to {most:.10g}"
    given = ((least, "{:.10g} or more"), (above, "above {:.10g}"), (most, "up to {:.10g}"), (below, "below {:.10g}"))
    return "".join(", " + words.format(bound) for bound, words in given if bound is not None)
