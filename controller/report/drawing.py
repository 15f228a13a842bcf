"""Figures embedded in a page. Only modules that draw import this one: matplotlib is an optional part.

A figure is drawn once for a desk and once for a phone; the style sheet shows one of them. Its colours are tokens, see
`colours`.
"""

import io
import re
from collections.abc import Callable
from html import escape
from typing import Any

import matplotlib as mpl
from markupsafe import Markup
from matplotlib.figure import Figure

from controller.report.colours import EDGE, INK, LINE, TOKENS, token

DESK_IN, PHONE_IN = 11.0, 4.7
"""Width of a figure, in inches. On a screen of 390 px, text of 10 points has about 10 px."""
INKED: dict[Any, str] = {
    **dict.fromkeys(("text.color", "axes.labelcolor", "axes.titlecolor", "xtick.labelcolor", "ytick.labelcolor"), INK),
    **dict.fromkeys(("axes.edgecolor", "xtick.color", "ytick.color"), EDGE),
    **dict.fromkeys(("figure.facecolor", "axes.facecolor", "savefig.facecolor"), "none"),
    "grid.color": LINE,
}
IDENTITY = re.compile(r"""(\bid="|href="#|url\(#)""")


def drawing(draw: Callable[[float], Figure], name: str, words: str) -> Markup:
    """What `draw` makes of a width in inches, for a desk and for a phone. `words` say what it shows to who can't see it.

    `name` begins all identities in it, and must be unlike every other on the page.
    """
    return Markup("").join(
        Markup('<div class="on-{}">{}</div>').format(device, svg(draw, width_in, f"{name}-{device}", words))
        for device, width_in in (("desk", DESK_IN), ("phone", PHONE_IN))
    )


def svg(draw: Callable[[float], Figure], width_in: float, name: str, words: str) -> Markup:
    """A figure as an <svg> element. Markup, because it is our own drawing and needs no escaping."""
    buffer = io.StringIO()
    fixed: dict[Any, str] = {"svg.fonttype": "none", "svg.hashsalt": "fullturn", "font.family": "sans-serif"}
    with mpl.rc_context(fixed | INKED):
        figure = draw(width_in)
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
        figure.clear()  # its parts refer to each other: without this they stay in memory for a while
    text = buffer.getvalue()
    text = IDENTITY.sub(rf"\g<1>{name}-", text[text.index("<svg") :])
    for stand_in in TOKENS:
        text = text.replace(stand_in, token(stand_in))
    return Markup(text.replace("<svg ", f'<svg role="img" aria-label="{escape(words)}" ', 1))
