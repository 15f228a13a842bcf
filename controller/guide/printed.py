"""A page or a meaning of the guide as it is printed in a terminal."""

import os.path
import re
from collections.abc import Iterable
from pathlib import PurePosixPath

from controller.guide.meanings import Kind, Meaning
from controller.guide.pages import LINK, Topic, topics

PICTURE = re.compile(r'!\[([^\]]*)\]\([^)]*\)|<img [^>]*alt="([^"]*)"[^>]*>')
MARKER = re.compile(r"^<!--.*?-->\n*", re.DOTALL)
LABELS = {
    Kind.ERROR: "An error", Kind.WARNING: "A warning", Kind.QUESTION: "A question", Kind.ANNOUNCEMENT: "An announcement",
    Kind.STATE: "What the run does", Kind.RESULT: "A result", Kind.NOTE: "A note",
}  # fmt: skip


def contents_text() -> str:
    """All topics by section, as Markdown."""
    parts = ["# Topics", "`fullturn help TOPIC` shows a page. `fullturn help WORDS OF A SENTENCE` explains the sentence."]
    for section in dict.fromkeys(topic.section for topic in topics()):
        listed = [topic for topic in topics() if topic.section == section and "/commands/" not in topic.path]
        parts += [f"## {section}", *(f"- `{topic.name}`: {topic.title}" for topic in listed)]
    return "\n".join(part if part.startswith("-") else f"\n{part}\n" for part in parts).lstrip("\n") + "\n"


def page_text(topic: Topic) -> str:
    """A page as Markdown for a terminal: pictures become their descriptions, links say which topic they lead to."""
    names = {other.path: other.name for other in topics()}
    here = PurePosixPath(topic.path).parent

    def led(found: re.Match[str]) -> str:
        name = names.get(os.path.normpath(here / found[2]).replace(os.sep, "/"))
        return found[1] if name is None else f"{found[1]} (`fullturn help {name}`)"

    text = MARKER.sub("", topic.text())
    return LINK.sub(led, PICTURE.sub(lambda found: f"*Picture: {found[1] or found[2]}.*", text))


def meaning_text(meanings: Iterable[Meaning]) -> str:
    """What sentences mean and what to do, as Markdown."""
    parts = []
    for meaning in meanings:
        lines = [f"**{meaning.says}**", f"{LABELS[meaning.kind]}. {meaning.means}"]
        parts.append("\n\n".join([*lines, f"What to do: {meaning.do}"] if meaning.do else lines))
    return "\n\n---\n\n".join(parts) + "\n"


def near_text(words: str, found: Iterable[Topic]) -> str:
    """Sentences that offer the topics that may have been meant."""
    names = ", ".join(f"`{topic.name}`" for topic in found)
    cure = f"Similar topics: {names}." if names else "`fullturn help` lists all topics."
    return f"No topic is called “{words}”. {cure}"
