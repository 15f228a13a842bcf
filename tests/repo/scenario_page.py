"""The reference page of scenarios as Markdown, from the simulator's own tables."""

import re
from dataclasses import fields

from sim.person import PersonSpec
from sim.scenario import KINDS, FaultKind
from sim.world import KEYS, WorldKey

ABOUT = """\
`fullturn rehearse --faults` and `fullturn simulate --faults` take a scenario by its name or its file: what goes wrong, as
[TOML](https://toml.io). `about` is a sentence for people. [How to write one](../how-to/rehearse-faults.md)."""
FAULTS = """\
## `[[fault]]`

One table for each thing that goes wrong. Each has a `kind` and one moment: `at_s` (seconds), `after_exposure` or
`at_frame`. Kinds that last take `for_s` as well; without it they last to the end.

| `kind` | what happens | needs | may have |
| --- | --- | --- | --- |"""
WORLD = """\
## `[world]`

What holds for the whole run, whatever the kit says.

| key | takes | meaning | only with |
| --- | --- | --- | --- |"""
PERSON = """\
## `[person]`

Somebody beside the head. Times are drawn between two bounds, the least and the most; shares are probabilities.

| key | default |
| --- | --- |"""


def scenario_page(made_by: str) -> str:
    """The whole page."""
    kinds = [_kind(name, kind) for name, kind in KINDS.items()]
    keys = [_key(name, key) for name, key in KEYS.items()]
    habits = [f"| `{field.name}` | {_default(field.default)} |" for field in fields(PersonSpec)]
    tables = ["\n".join([head, *rows]) for head, rows in ((FAULTS, kinds), (WORLD, keys), (PERSON, habits))]
    return "\n\n".join([made_by, "# The scenario file", ABOUT, *tables]) + "\n"


def _names(names: tuple[str, ...]) -> str:
    return ", ".join(f"`{name}`" for name in names)


def _kind(name: str, kind: FaultKind) -> str:
    may_have = (*kind.may_have, *(("for_s",) if kind.lasts else ()))
    return f"| `{name}` | {kind.says} | {_names(kind.needs)} | {_names(may_have)} |"


def _key(name: str, key: WorldKey) -> str:
    takes = "whole number" if key.whole else "two numbers" if key.pair else "number"
    bounds = f"{takes}, {key.least:.10g} to {key.most:.10g} {key.unit}".rstrip()
    meaning = re.sub(r"\{.*?\}", "…", key.says)
    return f"| `{name}` | {bounds} | {meaning} | {_names(tuple(each for each in key.needs if each != name))} |"


def _default(value: object) -> str:
    return str(list(value)) if isinstance(value, tuple) else f"{value}"
