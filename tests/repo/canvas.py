"""The paper on which the guide's pictures are drawn: an SVG with its words, and its colours by day and in the dark.

A picture is light, and dark where the reader's system asks for dark. Each colour is a class with two values, and the
ground changes with it. The colours can be told apart by colour-blind eyes (Okabe and Ito 2008, *Color Universal
Design*), and no meaning depends on a colour alone. Pictures are narrow, so that their words can be read on a phone.
"""

from dataclasses import dataclass, field
from html import escape

import numpy as np

from controller.planning.directions import Array

GROUND, INK, GREY, BLUE, ORANGE, RED = "ground", "ink", "grey", "blue", "orange", "red"
NONE = "none"
PALETTE = {
    GROUND: ("#f7f7f2", "#14181b"),
    INK: ("#22262b", "#e9ecec"),
    GREY: ("#5f5f69", "#a9b1b5"),
    BLUE: ("#0068a3", "#6cb8f0"),
    ORANGE: ("#965200", "#f0b35a"),
    RED: ("#b33600", "#ff8a5c"),
}
"""The light and the dark value of each colour."""
PAPER = 480
"""The width of a picture, in pixels. A phone of 390 pixels shows it at three quarters of that."""


def style(palette: dict[str, tuple[str, str]] = PALETTE) -> str:
    """The element <style> with a class for each colour, as a line (`s-`) and as a surface (`f-`)."""
    light, dark = ("".join(f"--{name}:{pair[which]};" for name, pair in palette.items()) for which in (0, 1))
    classes = "".join(f".s-{name}{{stroke:var(--{name})}}.f-{name}{{fill:var(--{name})}}" for name in palette)
    return f"<style>svg{{{light}}}@media (prefers-color-scheme:dark){{svg{{{dark}}}}}{classes}</style>"


def painted(line: str, surface: str = NONE) -> str:
    """The attributes that give an element its colours."""
    names = [f"s-{line}"] * (line != NONE) + [f"f-{surface}"] * (surface != NONE)
    plain = ' stroke="none"' * (line == NONE) + ' fill="none"' * (surface == NONE)
    return f'class="{" ".join(names)}"{plain}'


@dataclass(slots=True)
class Picture:
    """An SVG being drawn: its size, its text alternative, and its elements."""

    width: int
    height: int
    title: str
    tells: str
    parts: list[str] = field(default_factory=list)
    width_px: int = 0
    """How wide it wants to be shown, if not in its own width."""
    palette: dict[str, tuple[str, str]] = field(default_factory=lambda: PALETTE)

    def line(self, points: Array, colour: str, width: float = 1.5, fill: str = NONE, dash: str = "") -> None:
        """Draw a line through the (n, 2) `points`, in pixels to the right and down, filled with the colour `fill`."""
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(
            f'<polyline points="{path}" {painted(colour, fill)} fill-opacity="0.18" stroke-width="{width:g}"{dashed}/>'
        )

    def area(self, points: Array, colour: str, opacity: float = 1.0) -> None:
        """Fill the surface inside the (n, 2) `points`."""
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        self.parts.append(f'<polygon points="{path}" {painted(NONE, colour)} fill-opacity="{opacity:g}"/>')

    def solid(self, points: Array, colour: str = INK, fill: str = GROUND, width: float = 2) -> None:
        """Draw a closed outline that hides what is behind it."""
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        self.parts.append(f'<polygon points="{path}" {painted(colour, fill)} stroke-width="{width:g}"/>')

    def box(self, x: float, y: float, wide: float, high: float, colour: str, fill: str = NONE) -> None:
        """Draw a rectangle."""
        corners = [(x, y), (x + wide, y), (x + wide, y + high), (x, y + high), (x, y)]
        self.line(np.array(corners), colour, 2, fill)

    def dot(self, x: float, y: float, radius: float, colour: str, fill: str = NONE) -> None:
        """Draw a circle, empty or filled."""
        self.parts.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}" {painted(colour, fill)} stroke-width="2"/>'
        )

    def text(self, x: float, y: float, words: str, colour: str = INK, anchor: str = "middle", size: int = 16) -> None:
        """Write words at a place."""
        self.parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" {painted(NONE, colour)} text-anchor="{anchor}" font-size="{size}">'
            f"{escape(words)}</text>"
        )

    def told(self, x: float, y: float, lines: tuple[tuple[str, str], ...], step: float = 24) -> None:
        """Write lines of words below each other: pairs of colour and words."""
        for number, (colour, words) in enumerate(lines):
            self.text(x, y + step * number, words, colour, "start")

    def arrow(self, x: float, y: float, to_x: float, to_y: float, colour: str = INK, width: float = 1.5) -> None:
        """Draw a line with an arrowhead."""
        self.curve(np.array([(x, y), (to_x, to_y)]), colour, width)

    def curve(self, points: Array, colour: str = INK, width: float = 1.5) -> None:
        """Draw a line through the (n, 2) `points` with an arrowhead at its end."""
        self.line(points, colour, width)
        end = points[-1]
        along = (end - points[-2]) / np.hypot(*(end - points[-2]))
        across = np.array([-along[1], along[0]])
        self.line(np.array([end - 9 * along + 4 * across, end, end - 9 * along - 4 * across]), colour, width)

    def svg(self) -> str:
        """The whole file as text."""
        wide = self.width_px or self.width
        return "\n".join([
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width} {self.height}" width="{wide}" '
            f'height="{self.height * wide // self.width}" role="img" aria-labelledby="title desc" '
            'font-family="sans-serif">',
            f'<title id="title">{escape(self.title)}</title>',
            f'<desc id="desc">{escape(self.tells)}</desc>',
            style(self.palette),
            f'<rect width="{self.width}" height="{self.height}" rx="8" {painted(NONE, GROUND)}/>',
            *self.parts,
            "</svg>\n",
        ])  # fmt: skip
