"""How easily the pages read: their sentences, and how long each is. `python -m tests.repo.prose [PAGE ...]` lists them.

Sentences are those of paragraphs and lists, as people read them; tables, code and quoted terminals are left out. An
inline code span counts as one word. Targets: the median sentence under 16 words, none over 35.
"""

import re
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from markdown_it import MarkdownIt
from markdown_it.token import Token

ROOT = Path(__file__).resolve().parents[2]
MEDIAN_WORDS, MOST_WORDS = 16, 35
ABBREVIATIONS = re.compile(r"\b(e\.g|i\.e|etc|cf|vs|No|Fig|fig|approx|et al|p|pp|St|Nr|[A-Z])\.(?=\s)")
END = re.compile(r"(?<=[.!?])[\"”’)*_]*\s+(?=[\"“‘(*_]*[A-Z0-9`])")
WORD = re.compile(r"[^\W_](?:[\w'’.,:/°%-]*[^\W_])?[°%]?")
CODE = "code"


@dataclass(frozen=True, slots=True)
class Sentence:
    """A sentence of a page, and the line where its paragraph begins."""

    text: str
    line: int

    @property
    def words(self) -> int:
        """How many words it has."""
        return len(WORD.findall(self.text))


def pages() -> list[Path]:
    """Every page that people read, but those that a program writes."""
    found = [ROOT / "README.md", ROOT / "DEVELOPERS.md"]
    for folder in ("docs", "hardware_notes"):
        found += sorted((ROOT / folder).rglob("*.md"))
    return [page for page in found if "docs/reference/commands" not in page.as_posix()]


def sentences(markdown: str) -> list[Sentence]:
    """The sentences of a page, in order."""
    return [
        Sentence(text, line)
        for content, line in _paragraphs(MarkdownIt("commonmark").enable("table").parse(markdown))
        for text in split(content)
    ]


def split(paragraph: str) -> list[str]:
    """The sentences of a paragraph."""
    held = ABBREVIATIONS.sub(lambda found: found[0][:-1] + "\0", paragraph)
    return [part.replace("\0", ".").strip() for part in END.split(held) if WORD.search(part)]


def _paragraphs(tokens: Iterable[Token]) -> Iterator[tuple[str, int]]:
    kinds: list[str] = []
    for token in tokens:
        if token.nesting == 1:
            kinds.append(token.type)
        elif token.nesting == -1:
            kinds.pop()
        elif token.type == "inline" and "table_open" not in kinds and "heading_open" not in kinds:
            yield _text(token.children or []), 1 + (token.map[0] if token.map else 0)


def _text(children: Iterable[Token]) -> str:
    parts = []
    for child in children:
        if child.type == "code_inline":
            parts.append(CODE)
        elif child.type in {"softbreak", "hardbreak"}:
            parts.append(" ")
        elif child.type == "text":
            parts.append(child.content)
    return "".join(parts)


def median_words(of: Iterable[Sentence]) -> float:
    """The median length of these sentences in words; 0 if there are none."""
    lengths = [sentence.words for sentence in of]
    return float(median(lengths)) if lengths else 0.0


def main(names: list[str]) -> None:
    """Print each page's median and longest sentence, and quote those that are too long."""
    for page in [Path(name).resolve() for name in names] or pages():
        found = sentences(page.read_text(encoding="utf-8"))
        longest = max((sentence.words for sentence in found), default=0)
        print(f"{page.relative_to(ROOT)}: median {median_words(found):g}, longest {longest}, {len(found)} sentences")
        for sentence in found:
            if sentence.words > MOST_WORDS:
                print(f"  line {sentence.line}, {sentence.words} words: {sentence.text}")


if __name__ == "__main__":
    main(sys.argv[1:])
