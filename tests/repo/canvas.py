"""The paper on which the guide's pictures are drawn: an SVG with its words, and the colours.

Every picture has its own light ground, so its colours do not depend on the page's. The colours can be told apart by
colour-blind eyes (Okabe and Ito 2008, *Color Universal Design*), and no meaning depends on a colour alone.
"""

from dataclasses import dataclass, field
from html import escape

import numpy as np

from controller.planning.directions import Array

GROUND, INK, GREY, BLUE, ORANGE, RED = "#f7f7f2", "#22262b", "#6b6b75", "#0072b2", "#b36200", "#c03a00"


@dataclass(slots=True)
class Picture:
    """An SVG being drawn: its size, its text alternative, and its elements."""

    width: int
    height: int
    title: str
    tells: str
    parts: list[str] = field(default_factory=list)

    def line(self, points: Array, colour: str, width: float = 1.5, fill: str = "none", dash: str = "") -> None:
        """Draw a line through the (n, 2) `points`, in pixels to the right and down, filled with the colour `fill`."""
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(
            f'<polyline points="{path}" fill="{fill}" fill-opacity="0.18" stroke="{colour}" '
            f'stroke-width="{width:g}"{dashed}/>'
        )

    def box(self, x: float, y: float, wide: float, high: float, colour: str, fill: str = "none") -> None:
        """Draw a rectangle."""
        corners = [(x, y), (x + wide, y), (x + wide, y + high), (x, y + high), (x, y)]
        self.line(np.array(corners), colour, 2, fill)

    def dot(self, x: float, y: float, radius: float, colour: str, fill: str = "none") -> None:
        """Draw a circle, empty or filled."""
        self.parts.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}" fill="{fill}" stroke="{colour}" stroke-width="2"/>'
        )

    def text(self, x: float, y: float, words: str, colour: str = INK, anchor: str = "middle", size: int = 15) -> None:
        """Write words at a place."""
        self.parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" fill="{colour}" text-anchor="{anchor}" font-size="{size}">'
            f"{escape(words)}</text>"
        )

    def arrow(self, x: float, y: float, to_x: float, to_y: float, colour: str = INK) -> None:
        """Draw a line with an arrowhead."""
        start, end = np.array([x, y]), np.array([to_x, to_y])
        along = (end - start) / np.hypot(*(end - start))
        across = np.array([-along[1], along[0]])
        self.line(np.array([start, end]), colour)
        self.line(np.array([end - 9 * along + 4 * across, end, end - 9 * along - 4 * across]), colour)

    def svg(self) -> str:
        """The whole file as text."""
        return "\n".join([
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width} {self.height}" width="{self.width}" '
            f'height="{self.height}" role="img" aria-labelledby="title desc" font-family="sans-serif">',
            f'<title id="title">{escape(self.title)}</title>',
            f'<desc id="desc">{escape(self.tells)}</desc>',
            f'<rect width="{self.width}" height="{self.height}" rx="8" fill="{GROUND}"/>',
            *self.parts,
            "</svg>\n",
        ])  # fmt: skip
