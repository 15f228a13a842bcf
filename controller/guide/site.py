"""The guide as a site of pages that works without a network: `python -m controller.guide.site FOLDER`.

Sphinx builds it from the Markdown (MyST), with the theme Furo (the extra `guide`). The pages are copied into a temporary
folder with the same layout, so that links between them hold as they are. Nothing is fetched, when it is built or when it
is read. Colours follow the system's setting, as those of the pictures do.
"""

import logging
import re
import shutil
import sys
from collections.abc import Iterable, Mapping
from importlib.metadata import distribution
from pathlib import Path
from typing import Any

from sphinx.application import Sphinx
from sphinx.util.console import nocolor

from controller.errors import InputError, WorldError
from controller.folders import appearing_folder, temporary_folder
from controller.guide.pages import FIRST, HOME, SHIPPED, Topic, topics

DEEPER = {"Commands": "/commands/", "For contributors": "docs/contributors/"}
"""Sections of their own for many pages, by a part of their paths."""
TOKENS = Path(__file__).parents[1] / "report" / "templates" / "tokens.css"
ROLES = {
    "color-foreground-primary": "ink",
    "color-foreground-secondary": "soft",
    "color-foreground-muted": "soft",
    "color-background-border": "line",
    "color-brand-primary": "mark",
    "color-brand-content": "mark",
    "color-brand-visited": "mark",
}
LIGHT = ROLES | {"color-background-primary": "paper", "color-background-secondary": "ground"}
DARK = ROLES | {"color-background-primary": "ground", "color-background-secondary": "paper"}
"""The colours of everything that the program writes, in each look: the theme's names, and those of the tokens."""
PARTS_FROM = ("sphinx", "furo", "sphinx-basic-ng", "snowballstemmer", "pygments")
"""The packages whose scripts and styles become part of the site; CREDITS.md says which."""
STYLE = Path(__file__).with_name("site.css")
HEADING = 'class="caption" role="heading"'
TO_FIRST = '<!doctype html><html lang="en"><head><title>Fullturn</title><meta http-equiv="refresh" content="0; url={0}">\
</head><body><a href="{0}">The guide</a></body></html>\n'


def build(out: Path) -> list[str]:
    """Build the site into `out`, which must be new or empty; return what is wrong with the pages, such as dead links.

    Raises InputError, StorageFailed.
    """
    nocolor()
    with appearing_folder(out) as site, temporary_folder() as folder:
        pages, made = folder / "pages", folder / "made"
        stage(pages)
        warnings = (folder / "warnings.txt").open("w+", encoding="utf-8")
        with warnings:
            app = Sphinx(
                pages, None, made, folder / "doctrees", "html", confoverrides=CONFIGURATION, status=None, warning=warnings
            )
            app.build()
            warnings.seek(0)
            wrong = [line.replace(str(pages), "").strip() for line in warnings if line.strip()]
        for page in made.rglob("*.html"):  # the theme leaves out the level, without which screen readers find no headings
            page.write_text(
                page.read_text(encoding="utf-8").replace(HEADING, f'{HEADING} aria-level="2"'), encoding="utf-8"
            )
        (made / "index.html").write_text(TO_FIRST.format(FIRST.replace(".md", ".html")), encoding="utf-8")
        add_licences(made / "_static" / "licences")
        shutil.copytree(made, site, dirs_exist_ok=True)
    return wrong


def add_licences(folder: Path) -> None:
    """Copy the licences of what the site contains into `folder`, a file for each package. Raises OSError."""
    folder.mkdir(parents=True)
    for name in PARTS_FROM:
        files = [file for file in distribution(name).files or () if file.name.startswith(("LICENSE", "COPYING"))]
        (whole,) = (file for file in files if ".dist-info" in str(file))
        shutil.copyfile(str(whole.locate()), folder / f"{name}.txt")


def _colours(look: int, roles: Mapping[str, str]) -> dict[str, str]:
    """The theme's colours from the tokens; `look` counts their blocks: light, dark."""
    block = re.findall(r":root[^{]*\{(.*?)\}", TOKENS.read_text(encoding="utf-8"), re.DOTALL)[look]
    values = dict(re.findall(r"--([\w-]+): (#\w+)", block))
    return {name: values[token] for name, token in roles.items()}


CONFIGURATION: dict[str, Any] = {
    "project": "Fullturn",
    "root_doc": FIRST.removesuffix(".md"),
    "extensions": ["myst_parser"],
    "exclude_patterns": ["sim/scenarios", "controller"],
    "html_theme": "furo",
    "html_title": "Fullturn",
    "html_static_path": [str(STYLE)],
    "html_css_files": [STYLE.name],
    "html_theme_options": {"light_css_variables": _colours(0, LIGHT), "dark_css_variables": _colours(1, DARK)},
    "html_show_copyright": False,
    "html_show_sphinx": False,
    "html_copy_source": False,
    "html_show_sourcelink": False,
    "myst_heading_anchors": 3,
    "myst_enable_extensions": ["html_image"],
    "suppress_warnings": ["misc.highlighting_failure", "toc.not_included"],
    "language": "en",
}


def stage(folder: Path) -> None:
    """Copy the pages, and what they link to, into `folder`, with the layout of the project and a table of contents."""
    for name in SHIPPED:
        source, target = HOME / name, folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        if source.is_dir():
            shutil.copytree(source, target)
        else:
            shutil.copyfile(source, target)
    with (folder / FIRST).open("a", encoding="utf-8") as first:
        first.write(contents())


def contents() -> str:
    """The sections of the guide with their pages, as the theme reads them."""
    parts: dict[str, list[Topic]] = {}
    for topic in topics():
        section = next((name for name, part in DEEPER.items() if part in topic.path), topic.section)
        parts.setdefault(section, []).append(topic)
    later = [name for name in parts if name in DEEPER]
    order = [name for name in parts if name not in DEEPER] + later
    return "\n" + "\n".join(_tree(name, parts[name]) for name in order)


def _tree(caption: str, pages: Iterable[Topic]) -> str:
    rows = "\n".join(f"{topic.title} </{topic.path.removesuffix('.md')}>" for topic in pages)
    return f"```{{toctree}}\n:hidden:\n:caption: {caption}\n\n{rows}\n```\n"


def main() -> None:
    """Build the site into the folder that is named; fail if anything is wrong with its pages."""
    logging.basicConfig(level=logging.ERROR)
    try:
        wrong = build(Path(sys.argv[1]))
    except (InputError, WorldError) as error:
        sys.exit(str(error))
    if wrong:
        sys.exit("\n".join(wrong))


if __name__ == "__main__":
    main()
