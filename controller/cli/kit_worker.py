"""Answers about kits for the page: one request a line on standard input, one answer a line on standard output.

`{"find": WORDS, "kind": "camera"}` is answered by `found`, the closest cameras or lenses of the open lens data.

`{"text": TEXT, "name": NAME, "path": PATH}` is the text of a kit file; `path` is where the file is, null for a new one.
The answer has `mistakes`, the sentences of `fullturn kit check`; none if it can be used. Then it also has `figures`,
what `kit check` prints, with the calibration beside the file; `supplied`, the values that the file does not state, by
key, with their source; and `caution`, the sentence that says why no real head is moved with it, empty if one is.
"""

import json
import sys
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from controller import clock
from controller.calibration.records import Record, read
from controller.errors import InputError
from controller.kit.kit import Kit
from controller.kit.load import kit_from_tables
from controller.kit.own_head import must_be_own_head
from controller.kit.search import MOST_SHOWN, entry_text, search
from controller.reading import KIT, parse_toml
from controller.report.kit_figures import figures_of


def answer(line: str) -> dict[str, Any]:
    """The answer to a request."""
    asked = json.loads(line)
    return _found(asked["find"], asked["kind"]) if "find" in asked else _judged(**asked)


def _found(words: list[str], kind: str) -> dict[str, Any]:
    found = search(words, (kind,)) if words else []
    shown = [asdict(each) | {"text": entry_text(each).removeprefix(kind).strip()} for each in found[:MOST_SHOWN]]
    return {"found": shown, "more": len(found) - len(shown)}


def _judged(text: str, name: str, path: str | None) -> dict[str, Any]:
    try:
        kit = kit_from_tables(parse_toml(text, name, KIT), name)
    except InputError as error:
        return {"mistakes": list(error.sentences)}
    figures, notes = _figures(kit, path)
    return {
        "mistakes": [],
        "figures": figures,
        "notes": notes,
        "supplied": {key: {"value": _value(kit, key), "source": source.value} for key, source in kit.sources.items()},
        "caution": _caution(kit, name),
    }


def _figures(kit: Kit, path: str | None) -> tuple[list[dict[str, Any]], list[str]]:
    """What `kit check` prints, and why some of it is missing: neither makes the kit itself wrong."""
    records: Sequence[Record] = ()
    notes: list[str] = []
    try:
        records = () if path is None else read(Path(path))
    except InputError as error:
        notes += error.sentences
    try:
        return [each.as_json() for each in figures_of(kit, records, clock.wall_moment())], notes
    except InputError as error:
        return [], notes + list(error.sentences)


def _caution(kit: Kit, name: str) -> str:
    try:
        must_be_own_head(kit, name)
    except InputError as error:
        return str(error)
    return ""


def _value(kit: Kit, key: str) -> Any:
    value = kit.model_dump(mode="json")
    for part in key.split("."):
        value = value[part]
    return value


def main() -> None:
    """Answer until input ends."""
    for line in sys.stdin:
        print(json.dumps(answer(line), allow_nan=False), flush=True)


if __name__ == "__main__":
    main()
