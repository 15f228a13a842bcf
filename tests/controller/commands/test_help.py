"""`fullturn help`: topics, sentences, near misses, and the site."""

from __future__ import annotations

import json
import webbrowser
from pathlib import Path

import pytest

from controller.commands import help as help_work
from controller.commands.help import browse_command, help_command
from controller.errors import InputError, WorldError
from controller.guide import pages
from tests.controller.commands.shell import Shell


@pytest.fixture
def shell(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Shell:
    return Shell(tmp_path, capsys, monkeypatch)


def test_without_words_it_lists_the_topics(shell: Shell) -> None:
    assert "- `night`: " in shell("help").out


def test_a_topic_is_shown_as_its_page(shell: Shell) -> None:
    first = (pages.HOME / "docs/how-to/night.md").read_text(encoding="utf-8").splitlines()[0]
    assert shell("help", "night").out.startswith(first)


def test_a_printed_sentence_is_explained(shell: Shell) -> None:
    """What a command has just said, word for word, with what was filled in."""
    said = shell("plan", "gone.toml").err.strip()
    told = shell("help", " ".join(said.split()))
    assert "gone.toml" in said
    assert "What to do: " in told.out


def test_other_programs_get_the_same_as_json(shell: Shell) -> None:
    topics = json.loads(shell("help", "--json").out)["topics"]
    assert {"name", "title", "path", "section"} == set(topics[0])
    assert json.loads(shell("help", "night", "--json").out)["topic"]["name"] == "night"
    (meaning,) = json.loads(shell("help", "the disk is full; free some space", "--json").out)["meanings"]
    assert meaning["do"]


def test_unknown_words_are_refused_with_what_is_near(shell: Shell) -> None:
    assert help_command("nigth").text == help_command("night").text  # only one is near
    several = shell("help", "calibr")
    assert (several.status, "`calibrate-steps`" in several.err) == (2, True)
    unknown = shell("help", "qqqqq")
    assert (unknown.status, "`fullturn help` lists all topics." in unknown.err) == (2, True)


def test_the_browser_opens_the_page_if_the_site_is_built(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[str] = []
    monkeypatch.setattr(webbrowser, "open", opened.append)
    monkeypatch.setattr(help_work, "SITE", tmp_path)
    with pytest.raises(WorldError, match=r"python3 start\.py guide"):
        browse_command("night")
    page = tmp_path / "docs" / "how-to" / "night.html"
    page.parent.mkdir(parents=True)
    page.write_text("")
    (tmp_path / "index.html").write_text("")
    assert browse_command("night") == page
    assert browse_command("") == tmp_path / "index.html"
    assert opened == [page.as_uri(), (tmp_path / "index.html").as_uri()]
    with pytest.raises(InputError, match="No topic is called"):
        browse_command("qqqqq")


def test_without_the_pages_it_says_where_they_are(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pages, "HOME", tmp_path)
    pages.topics.cache_clear()
    try:
        with pytest.raises(WorldError, match="not installed here"):
            help_command("night")
    finally:
        monkeypatch.undo()
        pages.topics.cache_clear()
