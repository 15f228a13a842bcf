"""The pages of the guide: where they are, in which order, and by which topic each is found.

The first page, `docs/README.md`, is the table of contents: its headings are the sections, its links the pages.
"""

import re
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from pathlib import Path

INSTALLED = Path(__file__).resolve().with_name("home")
HOME = INSTALLED if INSTALLED.is_dir() else Path(__file__).resolve().parents[2]
"""The folder that has `docs`, `hardware_notes` and the README: a copy in the installed package, or a clone."""
SITE = HOME / "site"
"""The guide as a site, if it was built."""
SHIPPED = (
    "docs", "hardware_notes",
    "README.md", "CHANGELOG.md", "LICENSE", "CREDITS.md", "DEVELOPERS.md",
    "protocol/SPEC.md", "protocol/board/README.md", "sim/NOT_SIMULATED.md", "sim/scenarios",
    "controller/planning/coverage.py", "controller/report/static/uplot",
)  # fmt: skip
"""The guide's pages and what they link to: files, and whole folders. Installed packages have copies of them."""
FIRST = "docs/README.md"
SECTION = re.compile(r"^## (.+)$")
LINK = re.compile(r"\[([^\]]+)\]\(([^)#]+\.md)(?:#[^)]*)?\)")
TITLE = re.compile(r"^# (.+)$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Topic:
    """A page: `name` is typed, `path` is below the guide's home, `section` is that of the first page."""

    name: str
    title: str
    path: str
    section: str

    def text(self) -> str:
        """The page as Markdown. Raises OSError."""
        return (HOME / self.path).read_text(encoding="utf-8")


@cache
def topics() -> tuple[Topic, ...]:
    """Every page of the guide, in the order of its contents. Raises OSError if the guide is not there."""
    found: dict[str, Topic] = {}
    section = ""
    for line in (HOME / FIRST).read_text(encoding="utf-8").splitlines():
        if heading := SECTION.match(line):
            section = heading[1]
        if section:
            for _, target in LINK.findall(line):
                for topic in _under(target, section):
                    found.setdefault(topic.path, topic)
    return tuple(found.values())


def _under(target: str, section: str) -> list[Topic]:
    """The page that the first page links to, and those in a folder of its own that it links to.

    The folder has the page's name; that of the hardware notes and of the reference is the one in which the page is.
    """
    page = (HOME / "docs" / target).resolve()
    path = page.relative_to(HOME).as_posix()
    topic = _topic(path, section)
    own = page.parent if page.name == "README.md" else page.with_suffix("")
    if not own.is_dir():
        return [topic]
    below = [(page.parent / link).resolve() for _, link in LINK.findall(topic.text())]
    inside = [each for each in dict.fromkeys(below) if own in each.parents]
    return [topic, *(_topic(each.relative_to(HOME).as_posix(), section) for each in inside)]


def _topic(path: str, section: str) -> Topic:
    title = TITLE.search((HOME / path).read_text(encoding="utf-8"))
    return Topic(_name(path), Path(path).stem if title is None else title[1].replace("`", ""), path, section)


def _name(path: str) -> str:
    """The name of a page: that of its file, made different from others of the name by what it is about."""
    folder, _, file = path.removesuffix(".md").rpartition("/")
    name = (Path(folder).name if file == "README" else file).replace("_", "-")
    if folder == "docs/reference" and file not in {"README", "files"}:
        return f"{name}-file"
    return f"contributors-{name}" if folder == "docs/contributors" else name


def topic_of(words: str) -> Topic | None:
    """The topic that is meant by its name or its title; None if no page fits."""
    wanted = "-".join(words.casefold().split())
    for topic in topics():
        if wanted in {topic.name, "-".join(topic.title.casefold().split())}:
            return topic
    return None


def near(words: str, most: int = 5) -> list[Topic]:
    """The topics that may be meant: with the words in name or title, or with a similar name."""
    wanted = words.casefold()
    found = [topic for topic in topics() if wanted in f"{topic.name.replace('-', ' ')} {topic.title}".casefold()]
    close = get_close_matches("-".join(wanted.split()), [topic.name for topic in topics()], n=most, cutoff=0.7)
    found += [topic for name in close for topic in topics() if topic.name == name]
    return list(dict.fromkeys(found))[:most]
