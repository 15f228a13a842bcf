"""`fullturn help`: the pages of the guide, and what a sentence of the program means."""

import webbrowser
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from controller.errors import InputError, WorldError
from controller.guide.meanings import meanings_of
from controller.guide.pages import SITE, near, topic_of, topics
from controller.guide.printed import contents_text, meaning_text, near_text, page_text

MOST_MEANINGS = 5
NOT_HERE = "The pages of the guide are not installed here. They are in the folder docs of the project."


@dataclass(frozen=True, slots=True)
class Helped:
    """What was found: Markdown for people, and the same for other programs."""

    text: str
    value: dict[str, Any]


def help_command(words: str) -> Helped:
    """The page of a topic, the meaning of a sentence, or without words the topics.

    Raises InputError if nothing fits, WorldError if the pages are not there.
    """
    _must_be_there()
    if not words:
        return Helped(contents_text(), {"topics": [asdict(topic) for topic in topics()]})
    found = near(words)
    topic = topic_of(words) or (found[0] if len(found) == 1 else None)
    if topic is not None:
        return Helped(page_text(topic), {"topic": asdict(topic), "text": topic.text()})
    meanings = meanings_of(words)[:MOST_MEANINGS] if len(words.split()) > 1 or not found else ()
    if meanings:
        return Helped(meaning_text(meanings), {"meanings": [asdict(meaning) for meaning in meanings]})
    raise InputError(near_text(words, found))


def browse_command(words: str) -> Path:
    """Open the page of a topic in the browser, and return its file. Raises InputError, WorldError."""
    _must_be_there()
    topic = topic_of(words) if words else topics()[0]
    if topic is None:
        raise InputError(near_text(words, near(words)))
    page = SITE / (Path(topic.path).with_suffix(".html") if words else Path("index.html"))
    if not page.is_file():
        raise WorldError("The site is not built yet. `python3 start.py guide` builds it.")
    webbrowser.open(page.as_uri())
    return page


def _must_be_there() -> None:
    try:
        topics()
    except OSError:
        raise WorldError(NOT_HERE) from None
