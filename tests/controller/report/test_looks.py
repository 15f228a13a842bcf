"""The three looks: what can be read in each, and that all pages take their colours from one place."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from matplotlib.figure import Figure

from controller.report.colours import SERIES
from controller.report.colours import TOKENS as STAND_INS
from controller.report.drawing import drawing
from controller.report.proof_signs import FRAME_SIGNS, LINK_SIGNS
from tests.controller.report.looks import TEMPLATES, TOKENS, channels, contrast

INKS, GROUNDS = ("ink", "soft", "mark", "good", "open"), ("ground", "paper")
GRAPHICS = ("edge", *(f"series-{number}" for number in range(1, 7)))
# Green and blue of the red look, of 255, and how many times as much red there is at least: rods hardly see red
# (CIE 1951 scotopic luminosity function: under 0.001 from 650 nm on, 1 at 507 nm).
MOST_GREEN_OR_BLUE, LEAST_RED_TIMES = 26, 9
PAGES = ("report.html", "run.html", "calibration.html", "proof.html")
COLOUR = re.compile(r"#[0-9a-fA-F]{3,8}\b(?!-)|\b(?:rgba?|hsla?|oklch|lab)\(")
# Colours outside of tokens.css, and why.
EXCEPTIONS = {
    "base.css": ({"#ffffff", "#e0e0e0", "#c8c8c8", "#555555", "#000000"}, "under the filter of the red look"),
    "proof_style.html": ({"#ffffff", "#0a0c0d"}, "on the photographs of the map"),
}


def test_each_look_has_every_token() -> None:
    assert TOKENS["light"].keys() == TOKENS["dark"].keys() == TOKENS["night"].keys()
    assert {*INKS, *GROUNDS, *GRAPHICS, "line", "deep", "shut"} == TOKENS["dark"].keys()
    assert set(STAND_INS.values()) <= TOKENS["dark"].keys()


@pytest.mark.parametrize("look", TOKENS)
def test_text_and_graphics_can_be_seen(look: str) -> None:
    """WCAG 2.2: success criteria 1.4.3 (text, 4.5 to 1) and 1.4.11 (graphics, 3 to 1); in the sun, 1.4.6 (7 to 1)."""
    found = TOKENS[look]
    for ground in GROUNDS:
        for ink in INKS:
            assert contrast(found[ink], found[ground]) >= (7 if look == "light" else 4.5), (ink, ground)
        for graphic in GRAPHICS:
            assert contrast(found[graphic], found[ground]) >= 3, (graphic, ground)


def test_the_contrast_is_that_of_the_standard() -> None:
    """Black on white is 21 (WCAG 2.2, definition of contrast ratio); #767676 on white is the darkest grey below 4.6."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") < 4.5 < contrast("#767676", "#ffffff") < 4.6


@pytest.mark.parametrize("name", TOKENS["night"])
def test_at_night_all_is_red(name: str) -> None:
    red, *others = channels(TOKENS["night"][name])
    assert max(others) <= MOST_GREEN_OR_BLUE
    assert LEAST_RED_TIMES * max(others) <= red


def test_the_filter_of_the_red_look_leaves_only_red() -> None:
    """Luminance with the factors of ITU-R BT.709, on the red channel; the others are zero."""
    (text,) = re.findall(r'<feColorMatrix values="([^"]+)"', (TEMPLATES / "looks_switch.html").read_text("utf-8"))
    rows = [row.split() for row in re.split(r"\s{2,}", text)]
    assert rows[0] == ["0.2126", "0.7152", "0.0722", "0", "0"]
    assert rows[1:3] == [["0"] * 5] * 2
    assert rows[3] == ["0", "0", "0", "1", "0"]


@pytest.mark.parametrize("path", sorted(TEMPLATES.iterdir()), ids=lambda path: path.name)
def test_colours_come_from_the_tokens(path: Path) -> None:
    if path.name == "tokens.css":
        return
    allowed, _ = EXCEPTIONS.get(path.name, (set(), ""))
    found = COLOUR.findall(re.sub(r"href=\"#[^\"]*\"|url\(#[^)]*\)|#frame-", "", path.read_text(encoding="utf-8")))
    assert set(found) == allowed


@pytest.mark.parametrize("name", PAGES)
def test_every_page_has_the_looks_and_can_be_zoomed(name: str) -> None:
    text = (TEMPLATES / name).read_text(encoding="utf-8")
    assert '<html lang="en" data-look="dark">' in text
    assert text.count('{% include "looks.html" %}') == text.count('{% include "looks_switch.html" %}') == 1
    (viewport,) = re.findall(r'<meta name="viewport" content="([^"]*)">', text)
    assert viewport == "width=device-width, initial-scale=1"  # no user-scalable, no maximum-scale


def test_every_page_of_the_project_is_one_of_these() -> None:
    assert {path.name for path in TEMPLATES.glob("*.html") if "<html" in path.read_text("utf-8")} == set(PAGES)


def test_a_drawing_has_the_colours_of_the_page() -> None:
    """No stand-in is left, and neither text nor axes have a colour of their own."""

    def draw(width_in: float) -> Figure:
        figure = Figure(figsize=(width_in, 2.0))
        axes = figure.add_subplot(xlabel="x", ylabel="y", title="t")
        for stand_in in SERIES:
            axes.plot([0, 1], [0, 1], color=stand_in, label="one")
        axes.legend(frameon=False)
        axes.grid()
        return figure

    text = str(drawing(draw, "one", 'a < "b"'))
    assert text.count("<svg ") == text.count('role="img" aria-label="a &lt; &quot;b&quot;"') == 2
    shown = re.sub(r"<defs>.*?</defs>", "", text, flags=re.DOTALL)
    assert not re.findall(r"(?:fill|stroke): ?#\w+", shown)
    for name in ("ink", "edge", "line", *(f"series-{number}" for number in range(1, 7))):
        assert f"var(--{name})" in text
    for words in re.findall(r"<text ([^>]*)>", text):
        assert "fill: var(--ink)" in words


def test_signs_are_told_apart_by_dashes_in_the_red_look() -> None:
    for signs in (LINK_SIGNS.values(), FRAME_SIGNS.values()):
        assert len({sign.dashes for sign in signs}) == len(signs)
