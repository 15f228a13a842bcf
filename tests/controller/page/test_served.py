"""The served folder shows what is in it, and nothing outside it, whatever the names are.

OWASP ASVS 4.0.3, by number from memory: V12.3.1 and V12.3.2 (names of files as paths), V5.3.3 (escaping), V12.5.1 (only
known types are served).
"""

from __future__ import annotations

import os
from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from controller.errors import InputError
from controller.page.assets import TYPES
from controller.page.served import ServedFolder, may_be_name
from controller.report.own_pages import GENERATOR
from tests.controller.page.pages import Served, served_in


@pytest.fixture
def root(tmp_path: Path) -> Path:
    (tmp_path / "outside").mkdir()
    (tmp_path / "outside" / "secret.txt").write_text("secret")
    inner = tmp_path / "inner"
    inner.mkdir()
    (inner / "kit.toml").write_text("")
    (inner / ".hidden").mkdir()
    (inner / ".hidden" / "secret.txt").write_text("secret")
    (inner / "report").mkdir()
    (inner / "report" / "report.html").write_bytes(GENERATOR)
    (inner / "report" / "a.txt").write_text("inside")
    (inner / "away").symlink_to(tmp_path / "outside")
    (inner / "away.toml").symlink_to(tmp_path / "outside" / "secret.txt")
    (inner / "loop.toml").symlink_to(inner / "loop.toml")
    (inner / "to-hidden").symlink_to(inner / ".hidden")
    (inner / "same.toml").symlink_to(inner / "kit.toml")
    (inner / "report" / "up").symlink_to(tmp_path / "outside")
    (inner / "report" / "up.txt").symlink_to(tmp_path / "outside" / "secret.txt")
    os.mkfifo(inner / "pipe.toml")
    return inner


def test_links_out_of_the_folder_and_hidden_files_are_not_there(root: Path) -> None:
    folder = ServedFolder.at(root)
    assert [each.name for each in folder.entries()] == ["kit.toml", "loop.toml", "pipe.toml", "report", "same.toml"]
    assert [each.name for each in folder.kit_files()] == ["kit.toml", "same.toml"]
    with pytest.raises(InputError, match="no such kit"):
        folder.must_find("away", "kit")
    with pytest.raises(InputError, match="no such session"):
        folder.must_find("kit.toml", "session", ".sqlite")
    assert folder.find("away") is None
    assert folder.find_in("away", "secret.txt") is None
    assert folder.find_in("report", "up.txt") is None
    assert folder.find_in("to-hidden", "secret.txt") is None
    found = folder.find_in("report", "a.txt")
    assert found is not None
    assert found.path.read_text() == "inside"


NAMES = st.text(max_size=30) | st.sampled_from(
    ["..", ".", "", "../outside/secret.txt", "..\\outside", "/etc/hosts", "report/../../outside/secret.txt", "report/",
     "kit.toml\0", "\ud800", ".hidden", "away/secret.txt", "up/secret.txt", "KIT.TOML", "kit.toml "]
)  # fmt: skip


@given(name=NAMES, inner=NAMES)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_is_asked_for_is_in_the_folder_or_is_nothing(root: Path, name: str, inner: str) -> None:
    folder = ServedFolder.at(root)
    for found in (folder.find(name), folder.find_in(name, inner), folder.find_in("report", inner)):
        if found is not None:
            assert found.path.is_relative_to(root)
            assert not any(part.startswith(".") for part in found.path.relative_to(root).parts)
            assert found.name in {name, inner}
    try:
        path = folder.new_path(name)
    except InputError:
        assert not may_be_name(name)
    else:
        assert path.parent == root


class Structure(HTMLParser):
    """The elements of a page with the names of their attributes, and its texts."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, tuple[str, ...]]] = []
        self.texts: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, tuple(name for name, _ in attrs)))

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


@given(name=st.text(st.characters(exclude_characters="/\0", exclude_categories=["Cs"]), min_size=1, max_size=50))
@example(name="<script>alert(1)<")
@example(name="a\" onclick='x'.toml")
@example(name="{{ 7*7 }}")
@example(name="a\nb")
@example(name="\u202ethree.toml")
def test_a_name_is_shown_as_text_whatever_it_is(tmp_path_factory: pytest.TempPathFactory, name: str) -> None:
    root = tmp_path_factory.mktemp("page")
    name = f"{name}.toml"
    if name in {".", ".."} or len(name.encode()) > 255:
        return
    (root / name).write_text("")
    served = served_in(root)
    browser = served.controlling
    found = Structure(browser.get("/plan").text)
    (root / name).rename(root / "harmless.toml")
    harmless = Structure(browser.get("/plan").text)
    if may_be_name(name):
        assert found.elements == harmless.elements
        assert [text.replace("harmless.toml", name) for text in harmless.texts] == found.texts
    else:
        assert "There is no kit in this folder yet." in found.texts[-1] or name not in "".join(found.texts)


def test_a_folder_that_is_none_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is not a folder"):
        ServedFolder.at(tmp_path / "nothing")


@pytest.fixture
def served(root: Path) -> Served:
    for suffix in (*TYPES, ".exe", ".sqlite", ".toml", ""):
        (root / "report" / f"file{suffix}").write_text("<script>alert(1)</script>")
    return served_in(root)


def test_a_report_s_files_have_no_rights_of_the_page(served: Served) -> None:
    """CSP level 3, `sandbox` without allow-same-origin: scripts run in an origin of their own, without the cookie."""
    browser = served.looking_on
    for suffix, kind in TYPES.items():
        answer = browser.get(served.page.file_link("report", f"file{suffix}"))
        assert answer.status_code == 200, suffix
        assert answer.headers["content-type"] == kind or answer.headers["content-type"].startswith(f"{kind};")
        assert answer.headers["x-content-type-options"] == "nosniff"
        policy = answer.headers["content-security-policy"]
        assert policy.startswith("sandbox ")
        assert "allow-same-origin" not in policy
        assert "allow-forms" not in policy
        assert "allow-top-navigation" not in policy


def test_only_known_types_are_served(served: Served) -> None:
    for name in ("file.exe", "file.sqlite", "file.toml", "file", "nothing.html", "up.txt"):
        assert served.looking_on.get(served.page.file_link("report", name)).status_code == 404
