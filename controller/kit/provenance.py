"""Where each figure of a kit comes from: the one mechanism for everything that prints a figure or relies on it."""

from collections.abc import Iterable, Iterator, Mapping
from enum import StrEnum
from typing import Any

from pydantic import BaseModel


class Source(StrEnum):
    """Where a figure comes from, the least reliable first."""

    EXAMPLE = "example"
    """A default of this program: it describes no real head, camera or board."""
    LOOKED_UP = "looked up"
    """From the open lens data, by the camera's or the lens's name."""
    STATED = "stated"
    """From the kit file."""
    MEASURED = "measured"
    """From a calibration record."""


Sources = dict[str, Source]
"""The source of each key with a value, by its dotted name: `head.pan.gear_ratio`. A key that is not listed is stated."""


def sources_of(kit: BaseModel, tables: Mapping[str, Any]) -> Sources:
    """The sources of a kit that was validated after the lens data had filled in `tables`, which are as in the file.

    A key that is in the file is stated; a key that is set all the same was looked up; the rest are examples. Keys
    without a value are left out, and so are those that are stated.
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
    """The least reliable of some sources: what follows from figures is no better than the worst of them."""
    order = list(Source)
    return min(sources, key=order.index)


def source_words(sources: Mapping[str, Source]) -> str:
    """The sources of what follows from these keys: one word, or each word with the keys that it is true of."""
    kinds = [source for source in Source if source in sources.values()]
    if len(kinds) == 1:
        return kinds[0].value
    parts = []
    for kind in kinds:
        names = dict.fromkeys(key.rpartition(".")[2] for key, source in sources.items() if source is kind)
        parts.append(f"{kind.value}: {', '.join(names)}")
    return "; ".join(parts)
