"""Every sentence that the program can say, found in its code. `python -m tests.repo.sentences ROOM` lists a room's.

A sentence is a literal that is not a docstring, has a space in it and ends like a sentence, or that an error is raised
with, directly or through a function of REFUSERS, or that is a value of a table of TABLES. What is filled in while the
program runs is “…”. The help of commands is left out: the reference has it.

What each means is in controller/guide/sentences/ROOM.toml. `--missing ROOM` prints entries to fill in, and names those
that no longer belong; `--sort ROOM` puts a room's entries in order.
"""

import ast
import json
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from controller.guide.meanings import FOLDER, Meaning, all_meanings
from tests.repo.test_layers import ROOT
from tests.repo.test_plain_words import NOT_FOR_PEOPLE, SQL, docstrings

FILLED = "…"
ENDS = re.compile(r"[.?!][”\"')]*(?: ?…)?$|^[A-Z].*[;,]$|, then$")
HELP = {"help", "short_help", "metavar", "epilog", "description", "prog_name", "usage"}
MARKUP = re.compile(r"</?\w+[ >]|\{%|[{}]\s*$|^[^A-Z].*;\s*$")
LEAST_WORDS = 3
ROOMS = ("controller", "protocol")
NOT_SAID = {"controller/capture/diagram.py", "controller/capture/table.py"}  # modules whose texts are for contributors
REFUSERS = {"refuse", "_refuse", "no_overlap"}  # functions that raise an error with the text they are given
TABLES = {"CAUSES", "WORDS"}  # tables whose values become part of a sentence
SCRIPT_TEXT = re.compile(r'"((?:[^"\\\n]|\\.)*)"|`((?:[^`\\]|\\.)*)`')
SCRIPT_COMMENT = re.compile(r"/\*.*?\*/|^\s*//.*?$", re.DOTALL | re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Said:
    """A sentence, and where it is in the code."""

    text: str
    module: str
    line: int

    @property
    def room(self) -> str:
        """The folder of its module; `top` for the modules at the top of the host."""
        parts = self.module.split("/")
        return parts[0] if parts[0] != "controller" else parts[1] if len(parts) > 2 else "top"


def said_in(path: Path) -> Iterator[Said]:
    """The sentences of one module."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    passed = docstrings(tree) | _helps(tree) | _parts(tree) | _patterns(tree)
    raised = _raised(tree) | _refused(tree) | _tabled(tree)
    for node in ast.walk(tree):
        if id(node) in passed:
            continue
        text = _text(node)
        if text is None:
            continue
        words = re.findall(r"\w+", text)
        is_sentence = len(words) >= LEAST_WORDS and (ENDS.search(text) or (id(node) in raised and " " in text))
        if is_sentence and not SQL.match(text) and not MARKUP.search(text) and text not in NOT_FOR_PEOPLE:
            yield Said(text, path.relative_to(ROOT).as_posix(), getattr(node, "lineno", 0))


def _text(node: ast.AST) -> str | None:
    """The literal's text, with … for what is filled in; None if it is none."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        text = re.sub(r"(?<!\{)\{[a-z_.0-9]*(?:![rs])?(?::[^{}]*)?\}", FILLED, node.value)  # of str.format
    elif isinstance(node, ast.JoinedStr):
        text = "".join(str(each.value) if isinstance(each, ast.Constant) else FILLED for each in node.values)
    else:
        return None
    return re.sub(f"{FILLED}(?:{FILLED})+", FILLED, " ".join(text.split()))


def _helps(tree: ast.AST) -> set[int]:
    """The literals inside the help of commands and options."""
    return {
        id(each)
        for call in ast.walk(tree)
        if isinstance(call, ast.Call)
        for word in call.keywords
        if word.arg in HELP
        for each in ast.walk(word.value)
    }


def _parts(tree: ast.AST) -> set[int]:
    """The constant parts of f-strings, which count as a whole, and their format specifications."""
    return {
        id(each)
        for node in ast.walk(tree)
        if isinstance(node, ast.JoinedStr)
        for each in ast.walk(node)
        if each is not node and isinstance(each, (ast.Constant, ast.JoinedStr)) and _inside(node, each)
    }


def _inside(whole: ast.JoinedStr, part: ast.AST) -> bool:
    """Whether a part is text of the f-string itself or a format specification, not an expression's own literal."""
    direct = [*whole.values, *(each.format_spec for each in whole.values if isinstance(each, ast.FormattedValue))]
    return any(part is each or (isinstance(each, ast.JoinedStr) and part in each.values) for each in direct)


def _raised(tree: ast.AST) -> set[int]:
    """The literals that are given to an error that is raised."""
    return {
        id(each)
        for node in ast.walk(tree)
        if isinstance(node, ast.Raise) and node.exc is not None
        for each in ast.walk(node.exc)
    }


def _refused(tree: ast.AST) -> set[int]:
    """The literals that are given to a function of REFUSERS."""
    return {
        id(each)
        for call in ast.walk(tree)
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id in REFUSERS
        for given in call.args
        for each in ast.walk(given)
    }


def _tabled(tree: ast.Module) -> set[int]:
    """The values of the tables of TABLES."""
    return {
        id(each)
        for node in tree.body
        if isinstance(node, ast.Assign | ast.AnnAssign) and isinstance(node.value, ast.Dict)
        for target in (node.targets if isinstance(node, ast.Assign) else [node.target])
        if isinstance(target, ast.Name) and target.id in TABLES
        for each in node.value.values
    }


def _patterns(tree: ast.AST) -> set[int]:
    """The literals that are regular expressions."""
    return {
        id(each)
        for call in ast.walk(tree)
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Attribute) and call.args
        if isinstance(call.func.value, ast.Name) and call.func.value.id == "re"
        for each in ast.walk(call.args[0])
    }


def said_in_script(path: Path) -> Iterator[Said]:
    """The sentences of a script of the page."""
    source = path.read_text(encoding="utf-8")
    code = SCRIPT_COMMENT.sub(lambda found: "\n" * found[0].count("\n"), source)
    for found in SCRIPT_TEXT.finditer(code):
        text = re.sub(r"\$\{[^}]*\}", FILLED, found[1] or found[2] or "")
        if len(re.findall(r"\w+", text)) >= LEAST_WORDS and ENDS.search(text) and not MARKUP.search(text):
            line = code.count("\n", 0, found.start()) + 1
            yield Said(" ".join(text.split()), path.relative_to(ROOT).as_posix(), line)


@cache
def all_said() -> tuple[Said, ...]:
    """Every sentence, by module and line."""
    found = [
        said
        for room in ROOMS
        for path in sorted((ROOT / room).rglob("*.py"))
        if path.relative_to(ROOT).as_posix() not in NOT_SAID
        for said in said_in(path)
    ]
    found += [said for path in (ROOT / "controller" / "page").rglob("*.js") for said in said_in_script(path)]
    return tuple(sorted(found, key=lambda said: (said.module, said.line, said.text)))


def missing(room: str) -> list[Said]:
    """The sentences of a room that have no entry, each once."""
    known = {each.says for each in all_meanings() if each.room == room}
    return list({said.text: said for said in all_said() if said.room == room and said.text not in known}.values())


def left_over(room: str) -> list[str]:
    """The entries of a room whose sentences the program no longer has."""
    found = {said.text for said in all_said() if said.room == room}
    return [each.says for each in all_meanings() if each.room == room and each.says not in found]


def as_toml(says: str, kind: str, means: str, do: str) -> str:
    """An entry of a table; a text of JSON is one of TOML as well."""
    pairs = {"says": says, "kind": kind, "means": means} | ({"do": do} if do else {})
    return "\n".join(
        ["[[sentence]]", *(f"{key} = {json.dumps(text, ensure_ascii=False)}" for key, text in pairs.items())]
    )


def in_order(room: str) -> list[Meaning]:
    """The entries of a room, as its table must have them: by the sentence."""
    return sorted((each for each in all_meanings() if each.room == room), key=lambda each: each.says)


def main(words: list[str]) -> None:
    """List the sentences of these rooms, or of all; or do what the first word says for the others."""
    if words[:1] == ["--missing"]:
        for room in words[1:]:
            for said in missing(room):
                print(f'# {said.module}:{said.line}\n{as_toml(said.text, "", "", "")}\ndo = ""\n')
            for says in left_over(room):
                print(f"# left over in {room}.toml: {says}")
    elif words[:1] == ["--sort"]:
        for room in words[1:]:
            entries = [as_toml(each.says, each.kind, each.means, each.do) for each in in_order(room)]
            (FOLDER / f"{room}.toml").write_text("\n\n".join(entries) + "\n", encoding="utf-8")
    else:
        for said in all_said():
            if not words or said.room in words:
                print(f"{said.module}:{said.line}: {said.text}")


if __name__ == "__main__":
    main(sys.argv[1:])
