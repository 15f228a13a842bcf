"""Draw the states of a run: a picture in DEVELOPERS.md, every row in docs/contributors/run-table.md.

Run `python -m tests.repo.diagram` after a change of `controller/capture/table.py`.
"""

import re
from collections.abc import Sequence
from pathlib import Path

from controller.capture.events import EventKind
from controller.capture.states import FINAL, RunState, StateGroup, lineage, members
from controller.capture.table import ANYWHERE, IGNORED, NEXT, NOTES, ROWS, Onward, Source, TransitionRow

ROOT = Path(__file__).resolve().parents[2]
DOCUMENT = ROOT / "DEVELOPERS.md"
TABLE = ROOT / "docs" / "contributors" / "run-table.md"
CHOICE = "next"
BLOCK = re.compile(r"```mermaid\n.*?```", re.DOTALL)
Arrows = dict[tuple[str, str], list[str]]


def picture() -> str:
    """The groups of states and the transitions between groups, as a mermaid state diagram."""
    arrows = _arrows()
    lines = ["stateDiagram-v2", f"    [*] --> {RunState.CONNECTING.value}", f"    state {CHOICE} <<choice>>"]
    inside = [group for group in StateGroup if group is not StateGroup.UNDERWAY]
    lines += [
        f'    state "{", ".join(state.value for state in members(group))}" as {_name(group)}'
        for group in inside
        if StateGroup.UNDERWAY not in lineage(members(group)[0])
    ]
    lines.append(f'    state "{StateGroup.UNDERWAY.value}" as {_name(StateGroup.UNDERWAY)} {{')
    lines += [
        f'        state "{", ".join(state.value for state in members(group))}" as {_name(group)}'
        for group in inside
        if StateGroup.UNDERWAY in lineage(members(group)[0])
    ]
    lines += [f"        {state.value}" for state in members(StateGroup.UNDERWAY) if _node(state) == state.value]
    lines.append("    }")
    lines += [f"    {source} --> {target}: {', '.join(labels)}" for (source, target), labels in arrows.items()]
    lines += [f"    {state.value} --> [*]" for state in FINAL]
    return "\n".join(lines) + "\n"


def _arrows() -> Arrows:
    """From each node to its next nodes, and what leads there. The arrows of all of "under way" start at its frame."""
    arrows: Arrows = {}

    def draw(source: str, target: str, label: str) -> None:
        labels = arrows.setdefault((source, target), [])
        if source != target and label not in labels:
            labels.append(label)

    for source, rows in ROWS.items():
        for row in rows:
            if isinstance(row, Onward):
                draw(_onward_from(source), CHOICE, "work ends" if _onward_from(source) == "underway" else row.kind.value)
                if row.target is RunState.EXPOSING:
                    draw(_node(source), _node(row.target), row.kind.value)
            elif row.target is not None and source is not RunState.IDLE:
                draw(_node(source), _node(row.target), row.kind.value)
    for condition, target, _ in NEXT:
        draw(CHOICE, _node(target), _words(condition))
    draw(CHOICE, _node(RunState.RECOVERING), "an exposure is next")
    outer = {target for source, target in arrows if source == _name(StateGroup.UNDERWAY)}
    inner = {_node(state) for state in members(StateGroup.UNDERWAY)}
    return {
        (source, target): labels
        for (source, target), labels in arrows.items()
        if labels and not (source in inner and target in outer)
    }


def _onward_from(source: Source) -> str:
    return "underway" if source is StateGroup.UNDERWAY or _is_under_way(source) else _node(source)


def _is_under_way(source: Source) -> bool:
    states = members(source) if isinstance(source, StateGroup) else (source,)
    return all(StateGroup.UNDERWAY in lineage(state) for state in states)


def _node(source: Source) -> str:
    """The node of a state or a group: the nearest group that is drawn, or itself."""
    line = (source,) if isinstance(source, StateGroup) else lineage(source)
    found = next((each for each in line if isinstance(each, StateGroup) and each is not StateGroup.UNDERWAY), line[0])
    return _name(found)


def _name(source: Source) -> str:
    return source.name.lower() if isinstance(source, StateGroup) else source.value


def table() -> str:
    """The page with every row."""
    parts = [
        "<!-- Written by `python -m tests.repo.diagram`: change controller/capture/table.py, not this page. -->\n",
        "# The states of a run\n",
        "For each state and group of states: on which event, under which condition, what is done and where it leads. A "
        "state's own rows come first, then its group's. Rows are tried from top to bottom. *onward* is the choice of "
        "what comes next.\n",
        _section("onward", "what comes next; if nothing of this holds, an exposure"),
        _grid(("if", "do", "go to"), [(_words(when), _words(do), state.value) for when, state, do in NEXT]),
    ]
    for source, rows in ROWS.items():
        parts += [_section(_title(source), _about(source)), _rows(source, rows)]
        if source in IGNORED:
            parts.append(_ignores(sorted(IGNORED[source].kinds), IGNORED[source].reason))
    parts += [_section("every state", "between the start and the end"), _ignores(sorted(ANYWHERE.kinds), ANYWHERE.reason)]
    return "\n".join(parts)


def _title(source: Source) -> str:
    return f"group {_name(source)}" if isinstance(source, StateGroup) else source.value


def _about(source: Source) -> str:
    if isinstance(source, StateGroup):
        return f"{source.value}: {', '.join(state.value for state in members(source))}"
    outer = lineage(source)[1:]
    return f"in {', in '.join(_name(group) for group in outer)}" if outer else ""


def _section(title: str, about: str) -> str:
    return f"## {title}\n" + (f"\n{about[0].upper()}{about[1:]}.\n" if about else "")


def _rows(source: Source, rows: tuple[TransitionRow | Onward, ...]) -> str:
    lines = []
    for row in rows:
        note = NOTES.get((source, row.kind)) if isinstance(source, RunState) else None
        if isinstance(row, Onward):
            cells = ("", "", f"*onward*; an exposure: {_words(row.action)}, {row.target.value}")
        else:
            cells = (_words(row.condition), _words(row.action), row.target.value if row.target else "")
        lines.append((_words(row.kind), _words(note), *cells))
    return _grid(("on", "note", "if", "do", "go to"), lines)


def _grid(head: tuple[str, ...], lines: Sequence[tuple[str, ...]]) -> str:
    return "\n".join(f"| {' | '.join(line)} |" for line in (head, ("---",) * len(head), *lines)) + "\n"


def _ignores(kinds: list[EventKind], reason: str) -> str:
    return f"Ignores {', '.join(_words(kind) for kind in kinds)}. {reason}\n"


def _words(thing: object) -> str:
    """The name of an event, a condition or an action, in words."""
    name = thing.value if isinstance(thing, EventKind) else getattr(thing, "__name__", "")
    return str(name).replace("_", " ")


if __name__ == "__main__":
    text = DOCUMENT.read_text(encoding="utf-8")
    DOCUMENT.write_text(BLOCK.sub(lambda _: f"```mermaid\n{picture()}```", text), encoding="utf-8")
    TABLE.parent.mkdir(exist_ok=True)
    TABLE.write_text(table(), encoding="utf-8")
