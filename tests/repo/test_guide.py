"""The user guide is true: its examples run, and its reference and pictures are current."""

import json
import re
import sys
import tomllib
from pathlib import Path
from typing import Any

import click
import jsonschema
import pytest

from controller.cli.main import cli
from controller.errors import InputError
from controller.kit.load import kit_from_tables
from tests.repo import guide, reference
from tests.repo.guide import Wrong, blocks, commands, fits, run_page

DOCS = Path(__file__).resolve().parents[2] / "docs"
LIST = DOCS / "contributors" / "words.md"
PAGES = sorted(DOCS.rglob("*.md"))
WITH_EXAMPLES = [page for page in PAGES if "```console" in page.read_text(encoding="utf-8")]
KIT = "`kit.toml`:\n\n```toml\n[camera]\nsensor_width_mm = 36.0\nsensor_height_mm = 24.0\npixels_wide = 6000\n\
pixels_high = 4000\n[lens]\nfocal_length_mm = 12.0\n```\n\n"


def name_of(page: Path) -> str:
    return page.relative_to(DOCS).as_posix()


@pytest.mark.long
@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize("page", WITH_EXAMPLES, ids=name_of)
def test_what_a_page_shows_is_what_the_program_prints(page: Path, tmp_path: Path) -> None:
    text = page.read_text(encoding="utf-8")
    if sys.platform == "win32" and "fullturn simulate" in text:
        pytest.skip("no pseudo-terminals")
    assert run_page(text, tmp_path) > 0


def test_every_kind_of_page_has_examples() -> None:
    assert {name_of(page).split("/")[0] for page in WITH_EXAMPLES} >= {"tutorial.md", "how-to"}


RIGHT = "```console\n$ fullturn kit check kit.toml\n...\nfield of view           90.00° x ...\n...\n```\n"


@pytest.mark.parametrize(
    ("page", "complaint"),
    [
        (RIGHT.replace("90.00", "91.00"), "line 14: what is shown"),
        (RIGHT.replace("\n...\n```", "\n```"), "line 14: what is shown"),  # something is left out without saying so
        (RIGHT.replace("kit.toml", "other.toml"), "line 14: ended with status 2, not 0"),
        (RIGHT.replace("kit check kit.toml", "kit chekc kit.toml"), "status 2"),
        ("```console\n$ fullturn kit check kit.toml\n$ echo $?\n1\n```\n", "ended with status 0, not 1"),
        ("```console\n$ fullturn kit check no.toml\n$ echo $?\n1\n```\n", "ended with status 2, not 1"),
        ("```console\n$ fullturn kit check no.toml\n$ echo $?\n```\n", "shows one number"),
        ("```console\n$ ls\n```\n", "only fullturn"),
        ("```console\nfield of view\n```\n", "begins with"),
        ("```console\n$ fullturn kit \\\n```\n", "nothing follows"),
        ("A nameless file:\n\n```toml\na = 1\n```\n", "does not name"),
        (RIGHT.removesuffix("```\n"), "has no end"),
    ],
)
def test_a_page_that_is_wrong_is_found(page: str, complaint: str, tmp_path: Path) -> None:
    with pytest.raises(Wrong, match=re.escape(complaint)):
        run_page(KIT + page, tmp_path)


def test_a_page_that_is_right_is_run(tmp_path: Path) -> None:
    twice = RIGHT + "```console\n$ fullturn kit check no.toml  # no such file\n$ echo $?\n2\n```\n"
    assert run_page(KIT + twice, tmp_path) == 2
    assert (tmp_path / "kit.toml").exists()


def test_what_is_shown_has_to_be_there_in_order() -> None:
    assert fits(["a", "...", "d"], "a\nb\nc\nd\n")
    assert fits(["a...c"], "abbbc\nReading, pictures: 1 of 2\n")
    assert not fits(["b", "a"], "a\nb\n")
    assert not fits(["a"], "a\nb\n")
    assert not fits(["a", "a"], "a\n")
    assert not fits(["a.c"], "abc\n")


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_nothing_of_a_page_escapes_the_tests(page: Path) -> None:
    for block in blocks(page.read_text(encoding="utf-8")):
        assert block.language in {"console", "sh", "text", *guide.FILES}, f"line {block.line}: {block.language}"
        if block.language == "console":
            assert commands(block), f"line {block.line}: nothing is typed"
        elif block.language != "text" and block.language not in guide.FILES:
            assert not any(line.startswith("fullturn") for line in block.lines), f"line {block.line} is never run"


def test_every_page_is_reached_from_the_first() -> None:
    reached, waiting = set[Path](), [DOCS / "README.md"]
    while waiting:
        page = waiting.pop()
        if page in reached or page.suffix != ".md" or not page.is_relative_to(DOCS):
            continue
        reached.add(page)
        targets = re.findall(r"\]\(([^)#:]+)[^)]*\)", page.read_text(encoding="utf-8"))
        waiting += [(page.parent / target).resolve() for target in targets]
    assert reached == set(PAGES)


# The list of refused words names these words to refuse them.
@pytest.mark.parametrize("page", [page for page in PAGES if page != LIST], ids=name_of)
def test_nothing_is_promised(page: Path) -> None:
    text = " ".join(page.read_text(encoding="utf-8").casefold().split())
    assert not re.search(r"\bsafe(ly|ty)?\b", text)
    for found in re.finditer("emergency stop", text):
        assert re.search(r"\bnot\b|nothing|\bnone\b|never", text[max(0, found.start() - 80) : found.start()])


@pytest.mark.parametrize("page", [page for page in PAGES if "capture " in page.read_text(encoding="utf-8")], ids=name_of)
def test_pages_that_move_a_head_say_so(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    if re.search(r"^\$ fullturn (capture|resume|jog)", text, re.MULTILINE):
        assert "README.md#before-anything-moves" in text


def test_the_reference_is_current() -> None:
    """Regenerate it with: python -m tests.repo.reference."""
    committed = {
        path.relative_to(reference.FOLDER).as_posix(): path.read_text(encoding="utf-8")
        for path in reference.FOLDER.rglob("*")
        if path.is_file()
    }
    made = reference.pages()
    assert committed.keys() == made.keys()
    for name, text in made.items():
        assert committed[name] == text, f"{name}: run python -m tests.repo.reference"


def test_a_command_that_is_new_gets_a_page_and_one_that_is_gone_loses_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    request = click.Option(["--loud"], is_flag=True, help="So that all hear it.")
    monkeypatch.setitem(cli.commands, "greet", click.Command("greet", help="Say hello.", params=[request]))
    monkeypatch.setattr(reference, "FOLDER", tmp_path)
    reference.write()
    assert "| `--loud` |  | So that all hear it. |" in (tmp_path / "commands/fullturn-greet.md").read_text(
        encoding="utf-8"
    )
    assert "[`fullturn greet`](commands/fullturn-greet.md)" in (tmp_path / "README.md").read_text(encoding="utf-8")
    monkeypatch.delitem(cli.commands, "greet")
    reference.write()
    assert not (tmp_path / "commands/fullturn-greet.md").exists()


def test_the_schema_takes_what_the_program_takes() -> None:
    """The schema also refuses what the program refuses, for the guide's kits, the demo's, and some wrong ones.

    The exception is a rule that no schema can state: two keys that together make an exposure too long for the camera.
    """
    schema = json.loads((reference.FOLDER / "kit.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    demo = tomllib.loads((DOCS.parent / "sim" / "demo" / "kit.toml").read_text(encoding="utf-8"))
    shown = [block for page in PAGES for block in blocks(page.read_text(encoding="utf-8")) if block.language == "toml"]
    kits = [demo, *(tomllib.loads("\n".join(block.lines)) for block in shown if "[camera]" in block.lines)]
    wrong = [
        {},
        demo | {"lense": {}},
        demo | {"lens": {}},
        demo | {"lens": {"focal_length_mm": -24}},
        demo | {"camera": {"pixels_wide": 6000, "pixels_high": 4000}},
    ]
    taken = [_taken(kit) for kit in (*kits, *wrong)]
    assert [jsonschema.Draft202012Validator(schema).is_valid(kit) for kit in (*kits, *wrong)] == taken
    assert (taken.count(True) > 5, taken.count(False)) == (True, len(wrong) + 1)  # one page shows a mistake


def _taken(tables: dict[str, Any]) -> bool:
    try:
        kit_from_tables(tables, "kit.toml")
    except InputError as error:
        return all("the camera's own shutter ends at" in sentence for sentence in error.sentences)
    return True


def test_every_key_of_the_schema_has_a_meaning() -> None:
    schema = json.loads((reference.FOLDER / "kit.schema.json").read_text(encoding="utf-8"))
    tables = [schema, *(part for part in schema["$defs"].values() if "properties" in part)]
    assert sum(len(table["properties"]) for table in tables) > 50
    assert all(part["description"] for table in tables for part in table["properties"].values())
