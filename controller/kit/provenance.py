"""The source of each figure of a kit. Everything that prints or relies on a figure asks here."""

from collections.abc import Iterable, Iterator, Mapping
from enum import StrEnum
from typing import Any

from pydantic import BaseModel


class Source(StrEnum):
    """The source of a figure, the least reliable first."""

    EXAMPLE = "example"
    """A default of this program: it describes no real head, camera or board."""
    LOOKED_UP = "looked up"
    """From the open lens data, by the name of the camera or lens."""
    STATED = "stated"
    """From the kit file."""
    MEASURED = "measured"
    """From a calibration record."""


Sources = dict[str, Source]
"""The source of each key with a value, by its dotted name: `head.pan.gear_ratio`. A key that is not listed is stated."""


def sources_of(kit: BaseModel, tables: Mapping[str, Any]) -> Sources:
    """The sources of a validated kit. `tables` is the file's content before the lens data was added.

    A key in the file is stated. A key that is set but not in the file was looked up. The rest are examples. Keys without
    a value are left out, and so are stated ones.
    """
    return {key: source for key, source in _sources(kit, tables, "") if source is not Source.STATED}


def _sources(table: BaseModel, written: Mapping[str, Any], before: str) -> Iterator[tuple[str, Source]]:
    for name in type(table).model_fields:
        value = getattr(table, name)
        if isinstance(value, BaseModel):
            below = written.get(name, {})
            yield from _sources(value, below, f"{before}{name}.")
        elif value is not None and name != "sources":
            known = Source.LOOKED_UP if name in table.model_fields_set else Source.EXAMPLE
            yield f"{before}{name}", Source.STATED if name in written else known


def weakest(sources: Iterable[Source]) -> Source:
    """The least reliable of these sources: a result is no better than the worst figure behind it."""
    order = list(Source)
    return min(sources, key=order.index)


def source_words(sources: Mapping[str, Source]) -> str:
    """The sources of a result from these keys: one word, or each word with its keys."""
    kinds = [source for source in Source if source in sources.values()]
    if len(kinds) == 1:
        return kinds[0].value
    parts = []
    for kind in kinds:
        names = dict.fromkeys(key.rpartition(".")[2] for key, source in sources.items() if source is kind)
        parts.append(f"{kind.value}: {', '.join(names)}")
    return "; ".join(parts)
