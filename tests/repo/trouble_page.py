"""The pages of troubleshooting, from the tables of meanings. `python -m tests.repo.reference` writes them.

docs/troubleshooting.md is the index, with what goes wrong most often. Beside it is a folder with a page for each place
where sentences appear.
"""

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from controller.guide.meanings import Kind, Meaning, all_meanings

DOCS = Path(__file__).resolve().parents[2] / "docs"
MADE_BY = "<!-- Written by `python -m tests.repo.reference` from controller/guide/sentences: change those. -->"
SPECIAL = re.compile(r"([\\*_\[\]<>#])")


@dataclass(frozen=True, slots=True)
class SentencePage:
    """A page of sentences: its file's name, its title, what it begins with, and the rooms whose sentences it has."""

    name: str
    title: str
    about: str
    rooms: tuple[str, ...]


CAUTION = (
    "**Before you reach in:** support the camera, then cut the motor power by its own switch. A tilt may drop when the "
    "power goes. Nothing in this program is an emergency stop. "
    "Read the [cautions](../../README.md#before-anything-moves)."
)
PLACES = (
    SentencePage(
        "during-a-run",
        "During a run",
        "What a run, `jog` and `tell` say: at the terminal, in the log, in `fullturn watch` and on the page."
        f"\n\n{CAUTION}\n\n"
        "A warning tells what the run handles by itself. After an error the run has ended, and `fullturn resume` "
        "continues it.",
        ("capture", "showing"),
    ),
    SentencePage(
        "port-and-board",
        "The port and the board",
        "Finding the board, opening the line and testing a board with `fullturn board check`. What is called a fault in "
        f"the program cannot be mended at the rig.\n\n{CAUTION}",
        ("ports", "protocol", "conformance"),
    ),
    SentencePage(
        "command-line",
        "At the command line",
        "What a command says about the words that you typed, and what it says when it is done.",
        ("cli", "commands", "guide"),
    ),
    SentencePage(
        "this-computer",
        "This computer",
        "What `fullturn doctor` finds. The line below each sentence says what to do. "
        "[Find out what is wrong](../how-to/report-trouble.md)",
        ("doctor",),
    ),
    SentencePage(
        "files-and-sessions",
        "Files, disks and sessions",
        "Reading and writing files. Most of these sentences begin with the name of the file. A reason in small letters "
        "is part of a longer sentence.",
        ("top", "session"),
    ),
    SentencePage(
        "kit-and-plan",
        "The kit and the plan",
        "What is wrong with a kit or a plan, and what the program says about them. "
        "[The keys of a kit](../reference/kit.md)",
        ("kit", "optics", "shaping", "planning", "program", "setup"),
    ),
    SentencePage(
        "calibrating",
        "Calibrating",
        "Measuring the head and the lens with `fullturn calibrate`. [Choose what to measure](../how-to/calibrate.md)",
        ("calibration",),
    ),
    SentencePage(
        "pictures-and-report",
        "The pictures and the report",
        "Sorting the card with `fullturn match`, checking pictures with `fullturn inspect`, and the report of a set.",
        ("matching", "inspection", "report"),
    ),
    SentencePage(
        "on-the-page",
        "On the page",
        f"What the page on a phone or tablet says. [Use the page](../how-to/page.md)\n\n{CAUTION}",
        ("page",),
    ),
)

KINDS: tuple[tuple[str, tuple[Kind, ...]], ...] = (
    ("Errors", (Kind.ERROR,)),
    ("Warnings", (Kind.WARNING,)),
    ("Questions", (Kind.QUESTION,)),
    ("Announcements", (Kind.ANNOUNCEMENT,)),
    ("States", (Kind.STATE,)),
    ("Results and notes", (Kind.RESULT, Kind.NOTE)),
)

INDEX = """\
# Troubleshooting

Every sentence that the program can say is explained here, with what to do about it.

## Find your sentence

1. Copy some words of it that are not names or numbers. The tables write “…” for what the program fills in.
2. Type `fullturn help` and these words in quotation marks. It prints what the sentence means.
3. Or search for the words here: in the search of the guide's site, or with the search of your browser on a page below.

Several sentences may be printed together. Look up each of them.

`fullturn doctor` looks at the computer itself: ports, permissions, disk, clock, what is installed. If nothing helps,
[report the trouble](how-to/report-trouble.md).

{places}

## What goes wrong most often in the field

Support the camera and cut the motor power before you reach into the head. Read the
[cautions](../README.md#before-anything-moves) first.

1. **The board does not answer.** Check the cable, then the supply of the board. Many USB cables only charge. Look with
   `fullturn board find`. [Connect the board](how-to/first-connection.md)
2. **The wrong port.** The name of a port may change when you plug in again. Use the name `usb:SERIALNUMBER` that
   `fullturn board find` prints.
3. **No permission to use the port.** On Linux have your user added to the group that owns the port, often `dialout`.
   Log out and in again.
4. **Another program uses the port.** Close the other window, the page or the terminal program that has it open.
5. **The supply is low.** Charge or change the battery, and keep it warm. Thin or long cables lose voltage too. A run
   waits for the supply for a while, then goes on by itself. [Power](../hardware_notes/power.md)
6. **The camera does not answer.** Switch it on, and turn off its sleep. Check battery, card and the sync cable.
   [Without a sync contact](how-to/no-sync-contact.md)
7. **Zero was found elsewhere.** The axis slipped or lost steps. The run finds zero again and reshoots the doubtful
   frames by itself. If it happens again, check belt, screws and [balance](../hardware_notes/balance.md).
8. **A zero switch was not met.** Check the switch, its wire, and that the axis turns freely.
   [Wiring](../hardware_notes/wiring.md)
9. **The run was interrupted.** A lost line, a restart or wind only suspends the run. It goes on by itself after a
   warning. If it has ended, `fullturn resume` continues it. [After a power cut](how-to/after-a-power-cut.md)
10. **The disk is full.** The run stops if it can no longer record. Free some space, then `fullturn resume`.
"""


def trouble_pages() -> dict[str, str]:
    """Every page of troubleshooting by its path below docs, as text."""
    pages = {f"troubleshooting/{place.name}.md": _sentence_page(place) for place in PLACES}
    count = Counter(each.room for each in all_meanings())
    rows = [
        f"| [{place.title}](troubleshooting/{place.name}.md) | {sum(count[room] for room in place.rooms)} |"
        for place in PLACES
    ]
    places = "\n".join(["| where it appears | sentences |", "| --- | --- |", *rows])
    pages["troubleshooting.md"] = f"{MADE_BY}\n\n{INDEX.format(places=places)}"
    return pages


def _sentence_page(place: SentencePage) -> str:
    meanings = [each for each in all_meanings() if each.room in place.rooms]
    parts = [MADE_BY, f"# {place.title}", f"{place.about}\n\n[How to find a sentence](../troubleshooting.md)"]
    for title, kinds in KINDS:
        if found := [each for each in meanings if each.kind in kinds]:
            parts += [f"## {title}", _rows(found)]
    return "\n\n".join(parts) + "\n"


def _rows(meanings: Iterable[Meaning]) -> str:
    rows = {(shown_text(each.says), shown_text(each.means), shown_text(each.do)) for each in meanings}
    in_order = sorted(rows, key=lambda row: (_by_letters(row[0]), row))
    lines = [f"| {says} | {means} | {do} |" for says, means, do in in_order]
    return "\n".join(["| it says | it means | what to do |", "| --- | --- | --- |", *lines])


def _by_letters(text: str) -> str:
    """How sentences are sorted: by their words alone."""
    return " ".join(re.findall(r"\w+", text.casefold()))


def shown_text(text: str) -> str:
    """A text as a cell of a table: signs that mean something in Markdown are escaped outside of code."""
    parts = text.split("`")
    if len(parts) % 2 == 0:  # a quotation mark without its partner
        return _escaped(text).replace("`", "\\`")
    return "`".join(part.replace("|", "\\|") if at % 2 else _escaped(part) for at, part in enumerate(parts))


def _escaped(text: str) -> str:
    return SPECIAL.sub(r"\\\1", text).replace("|", "\\|")


def write_trouble_pages() -> None:
    """Write the pages of troubleshooting, and remove those that no longer exist."""
    new = trouble_pages()
    for path in sorted((DOCS / "troubleshooting").glob("*")):
        if path.relative_to(DOCS).as_posix() not in new:
            path.unlink()
    for name, text in new.items():
        (DOCS / name).parent.mkdir(parents=True, exist_ok=True)
        (DOCS / name).write_text(text, encoding="utf-8", newline="\n")
