"""The guide as a site of pages that works without a network: `python -m controller.guide.site FOLDER`.

MkDocs builds it, with the theme Material (the extra `guide`). The pages are copied into a temporary folder with the same
layout, so that links between them hold as they are. Nothing is fetched, when it is built or when it is read.
"""

import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import yaml

from controller.folders import temporary_folder
from controller.guide.pages import FIRST, HOME, Topic, topics

FOLDERS = ("docs", "hardware_notes")
BESIDE = (
    "README.md", "CHANGELOG.md", "LICENSE", "DEVELOPERS.md", "protocol/SPEC.md", "protocol/board/README.md",
    "sim/NOT_SIMULATED.md", "sim/scenarios", "controller/planning/coverage.py", "controller/report/static/uplot",
)  # fmt: skip
"""What pages link to outside their folders."""
STYLE = Path(__file__).with_name("site.css")
EXTENSIONS: list[Any] = ["tables", "attr_list", "sane_lists", "admonition", {"toc": {"permalink": False}}]


def build(out: Path) -> None:
    """Build the site into `out`, a new folder or one that it wrote before. Raises SystemExit if a link is broken."""
    with temporary_folder() as folder:
        stage(folder / "pages")
        (folder / "mkdocs.yml").write_text(yaml.safe_dump(configuration(folder, out), sort_keys=False), encoding="utf-8")
        command = [
            sys.executable,
            "-m",
            "mkdocs",
            "--quiet",
            "build",
            "--strict",
            "--config-file",
            str(folder / "mkdocs.yml"),
        ]
        status = subprocess.run(command, check=False).returncode
    if status:
        raise SystemExit(status)


def stage(folder: Path) -> None:
    """Copy the pages, and what they link to, into `folder`, with the layout of the project."""
    for name in FOLDERS:
        shutil.copytree(HOME / name, folder / name)
    for name in BESIDE:
        source, target = HOME / name, folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        if source.is_dir():
            shutil.copytree(source, target)
        else:
            shutil.copyfile(source, target)
    shutil.copyfile(folder / FIRST, folder / "index.md")
    shutil.copyfile(STYLE, folder / "site.css")


def configuration(folder: Path, out: Path) -> dict[str, Any]:
    """How MkDocs builds it. Colours follow the system's setting, as those of the pictures do."""
    return {
        "site_name": "Fullturn",
        "docs_dir": str(folder / "pages"),
        "site_dir": str(out.resolve()),
        "use_directory_urls": False,
        "theme": {
            "name": "material",
            "font": False,
            "language": "en",
            "features": ["navigation.indexes", "navigation.top", "search.highlight", "content.code.copy", "toc.follow"],
            "palette": [
                {"media": "(prefers-color-scheme: light)", "scheme": "default"},
                {"media": "(prefers-color-scheme: dark)", "scheme": "slate"},
            ],
        },
        "plugins": ["search", "offline"],
        "extra": {"generator": False},
        "extra_css": ["site.css"],
        "markdown_extensions": EXTENSIONS,
        "validation": {"nav": {"omitted_files": "ignore"}, "links": {"anchors": "warn", "unrecognized_links": "warn"}},
        "nav": navigation(),
    }


def navigation() -> list[dict[str, Any]]:
    """The sections of the guide, each with its pages; the many pages of commands are one level deeper."""
    found: list[dict[str, Any]] = [{"The guide": FIRST}]
    sections = list(dict.fromkeys(topic.section for topic in topics()))
    for section in sections:
        pages = [topic for topic in topics() if topic.section == section]
        commands = [topic for topic in pages if "/commands/" in topic.path]
        entries: list[dict[str, Any]] = [_entry(topic) for topic in pages if topic not in commands]
        if commands:
            entries.append({"Commands": [_entry(topic) for topic in commands]})
        found.append({section: entries})
    return found


def _entry(topic: Topic) -> dict[str, Any]:
    return {topic.title.replace("`", ""): topic.path}


if __name__ == "__main__":
    build(Path(sys.argv[1]))
