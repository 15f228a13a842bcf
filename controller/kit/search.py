"""Cameras and lenses found by words, and by their exact name."""

import re
from collections.abc import Iterable, Sequence

from controller.errors import InputError
from controller.kit.lens_data import Entry, entries

SHOWN = 5  # near misses in a sentence


def search(words: Iterable[str], kinds: Sequence[str] = ("camera", "lens")) -> list[Entry]:
    """The entries whose names hold every word, in any order and any case; shorter names first, each name once."""
    wanted = [_plain(word) for word in words]
    found = {
        (entry.kind, entry.maker, entry.model): entry
        for entry in entries()
        if entry.kind in kinds and all(word in _plain(f"{entry.maker} {entry.model}") for word in wanted)
    }
    return sorted(found.values(), key=lambda entry: (entry.kind, len(entry.model), entry.maker, entry.model))


def exactly(kind: str, name: str) -> Entry:
    """The one entry of exactly that name, with or without its maker. Raises InputError, with near misses.

    A near miss is never taken: the picture of another camera has another size (check: the data has both "D750" and
    "D7500").
    """
    wanted = _plain(name)
    found = [
        entry
        for entry in entries()
        if entry.kind == kind
        and wanted in {_plain(entry.model), _plain(entry.name), _plain(f"{entry.maker} {entry.model}")}
    ]
    if len({(entry.maker, entry.model) for entry in found}) == 1:
        return found[0]
    near = found or search(name.split(), (kind,)) or search(re.findall(r"\w*\d\w*", name) or name.split()[-1:], (kind,))
    names = list(dict.fromkeys(entry.name for entry in near))[:SHOWN]
    meant = f"; is it one of {', '.join(names)}?" if names else "; look with `fullturn kit find`."
    raise InputError(f'No {kind} of the open lens data is named exactly "{name}"{meant}')


def _plain(text: str) -> str:
    return " ".join(text.replace("\0", " ").casefold().split())
