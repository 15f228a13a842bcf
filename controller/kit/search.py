"""Search cameras and lenses by words as people type them, or by exact name."""

import difflib
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache

from controller.errors import InputError
from controller.kit.lens_data import Entry, entries
from controller.kit.other_names import other_names

MOST_SHOWN = 20  # names of a search


SHOWN = 5  # near misses in a sentence
TOKEN = re.compile(r"[^\W\d_]+|\d+")
NOT_FOUND = 9
ALIKE = 0.6  # least share of equal letters for a similar name


@dataclass(frozen=True, slots=True)
class Named:
    """An entry with its names prepared for the search."""

    entry: Entry
    plain: str
    """All names, folded, to find words that are only part of a name's word."""
    forms: frozenset[str]
    """Every run of neighbouring tokens of a name, written together: "z7" and "7ii" of "Z 7II"."""
    starts: frozenset[str]
    """The runs that begin a name."""
    whole: frozenset[str]
    """The runs that are a whole name, with or without its maker."""


def search(words: Iterable[str], kinds: Sequence[str] = ("camera", "lens")) -> list[Entry]:
    """The entries with every word in one of their names, in any order; the closest first, each name once.

    Spaces, hyphens and upper case do not count. A Greek letter matches its name. A word before a number may be
    abbreviated to its initial ("a7" for "Alpha 7"). Whole words rank before parts of words, and shorter names before
    longer ones.
    """
    texts = list(words)
    wanted = [(_folded(word), _joined(_tokens(word))) for word in texts]
    together = _joined(_tokens(" ".join(texts)))
    found: dict[tuple[str, str, str], tuple[int, Named]] = {}
    letters = [form.replace(".", "") for _, form in wanted]
    for entry, compact in zip(entries(), _compact(), strict=True):
        if entry.kind in kinds and all(word in compact for word in letters):  # this alone rules out most entries
            named = _named(entry)
            ranks = [_rank(named, plain, form) for plain, form in wanted]
            if NOT_FOUND not in ranks:
                rank = -1 if together in named.whole else sum(ranks)
                found.setdefault((entry.kind, entry.maker, entry.model), (rank, named))
    ranked = sorted(found.values(), key=lambda each: (each[0], each[1].entry.kind, len(each[1].entry.model)))
    return [named.entry for _, named in ranked]


def _rank(named: Named, plain: str, form: str) -> int:
    """How well a word matches: 0 for the beginning of a name, 1 for whole words in it, 2 for part of a word."""
    if form and form in named.starts:
        return 0
    if form and form in named.forms:
        return 1
    return 2 if plain in named.plain else NOT_FOUND


def exactly(kind: str, name: str) -> Entry:
    """The one entry of exactly that name, with or without its maker. Raises InputError, with near misses.

    A near miss is never accepted: another camera's picture has another size (check: the data has both "D750" and
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
    near = found or nearest(kind, name)
    names = list(dict.fromkeys(entry.name for entry in near))[:SHOWN]
    meant = f"Is it one of {', '.join(names)}?" if names else "Look with `fullturn kit find`."
    raise InputError(f'No {kind} of the open lens data is named exactly "{name}". {meant}')


def nearest(kind: str, name: str) -> list[Entry]:
    """The entries that a name may have meant, the nearest first; empty if none is near.

    Those with all its words; if none, those with its words that contain digits; if none, those with similar spelling.
    """
    found = search(name.split(), (kind,))
    if not found and (numbered := re.findall(r"\w*\d\w*", name)):
        found = search(numbered, (kind,))
    if found:
        return found
    of_name = {_folded(each): entry for entry in entries() if entry.kind == kind for each in (entry.name, entry.model)}
    return [of_name[each] for each in difflib.get_close_matches(_folded(name), of_name, SHOWN, ALIKE)]


@cache
def _compact() -> tuple[str, ...]:
    """For every entry, all letters and digits of its names, as they are and with words as initials."""
    return tuple(" ".join(_spellings(entry)) for entry in entries())


def _spellings(entry: Entry) -> list[str]:
    texts = (entry.maker, entry.model, other_names().get((entry.maker, entry.model), ""))
    tokens = [_tokens(text) for text in texts]
    return ["".join(token for each in tokens for token in each), *("".join(_with_initial(each)) for each in tokens)]


@cache
def _named(entry: Entry) -> Named:
    other = other_names().get((entry.maker, entry.model), "")
    names = [text for text in (entry.model, other) if text]
    maker = _tokens(entry.maker)
    whole, starts, forms = set[str](), set[str](), set(_runs(maker))
    for text in names:
        tokens = _tokens(text)
        bare = tokens[1:] if maker and tokens[:1] == maker[:1] else tokens
        whole |= {_joined(tokens), _joined(bare), _joined([*maker[:1], *bare]), _joined([*maker, *bare])}
        forms |= set(_runs(tokens))  # a model may begin with a word that its maker also begins with
        for own in (bare, _with_initial(bare)):
            starts |= {_joined(own[:end]) for end in range(1, len(own) + 1)}
            forms |= set(_runs(own))
    return Named(entry, _folded(" ".join([entry.maker, *names])), frozenset(forms), frozenset(starts), frozenset(whole))


def _with_initial(tokens: Sequence[str]) -> list[str]:
    """The tokens, with each word before a number reduced to its initial."""
    pairs = zip(tokens, [*tokens, ""][1:], strict=True)
    return [token[0] if token.isalpha() and after.isdecimal() else token for token, after in pairs]


def _runs(tokens: Sequence[str]) -> Iterable[str]:
    return (_joined(tokens[at:end]) for at in range(len(tokens)) for end in range(at + 1, len(tokens) + 1))


def _joined(tokens: Sequence[str]) -> str:
    """Tokens written together; two numbers stay apart, so that f/2.8 is not 28 mm."""
    text = ""
    for token in tokens:
        text += ("." if text and text[-1].isdecimal() and token[0].isdecimal() else "") + token
    return text


def _tokens(text: str) -> list[str]:
    return TOKEN.findall(_folded(text))


def _folded(text: str) -> str:
    """Lower case, in compatible forms, with Greek letters spelt out."""
    if text.isascii():
        return _plain(text)
    plain = unicodedata.normalize("NFKC", _plain(text)).casefold()
    return "".join(_spelt(letter) for letter in plain)


def _spelt(letter: str) -> str:
    name = unicodedata.name(letter, "")
    greek = name.startswith(("GREEK SMALL LETTER ", "GREEK CAPITAL LETTER "))
    return name.split()[3].casefold() if greek and letter != "μ" else letter  # micro is a unit


def _plain(text: str) -> str:
    return " ".join(text.replace("\0", " ").casefold().split())


def found_text(found: list[Entry], *, every: bool) -> str:
    """What was found, for people: all, or the closest and how many more there are."""
    shown = found if every else found[:MOST_SHOWN]
    lines = [entry_text(entry) for entry in shown]
    if len(shown) < len(found):
        lines.append(f"{len(found) - len(shown)} more. Add a word, or --all to see them.")
    return "\n".join(lines)


def entry_text(entry: Entry) -> str:
    """One line for people."""
    if entry.kind == "camera":
        other = other_names().get((entry.maker, entry.model))
        also = "" if other is None or other.casefold() in entry.name.casefold() else f"{other}, "
        return f"camera  {entry.name}  ({also}crop factor {entry.crop_factor:g})"
    low, high = entry.min_focal_mm, entry.max_focal_mm
    focal = f"{low:g} mm" if low == high else f"{low:g} to {high:g} mm"
    return f"lens    {entry.name}  ({focal}, {entry.projection or 'a projection that cannot be planned'})"
