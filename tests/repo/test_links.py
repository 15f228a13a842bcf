"""Relative links in the documents have targets."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
HIDDEN = {"node_modules", "build", "dist"}
DOCUMENTS = sorted(
    path
    for path in ROOT.rglob("*.md")
    if not any(part.startswith(".") or part in HIDDEN for part in path.relative_to(ROOT).parts)
)
LINK = re.compile(r"\]\(<?([^)\s>]+)>?[^)]*\)")


def without_code(text: str) -> str:
    return re.sub(r"```.*?```|`[^`\n]*`", "", text, flags=re.DOTALL)


def anchors(path: Path) -> set[str]:
    """The headings of a document as anchors: lower case, hyphens for spaces, no other signs."""
    heads = re.findall(
        r"^#+ +(.+?) *#*$", re.sub(r"```.*?```", "", path.read_text(encoding="utf-8"), flags=re.DOTALL), re.M
    )
    return {re.sub(r"[^\w\- ]", "", head.casefold()).replace(" ", "-") for head in heads}


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_links_resolve(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    for words, target in re.findall(r"\[([^\]]*)\]\(([^)]+)\)", text):
        assert words.strip(), f"a link or picture without words: {target}"
    for link in LINK.findall(without_code(text)):
        if re.match(r"[a-z]+:", link):
            continue
        target, _, anchor = link.partition("#")
        where = (path.parent / target) if target else path
        assert where.exists(), f"{path.name} points to {link}"
        if anchor and where.suffix == ".md":
            assert anchor in anchors(where), f"{path.name} points to {link}"


def test_every_page_of_the_hardware_notes_is_in_their_index() -> None:
    folder = ROOT / "hardware_notes"
    linked = set(LINK.findall((folder / "README.md").read_text(encoding="utf-8")))
    assert {page.name for page in folder.glob("*.md")} - {"README.md"} <= linked
