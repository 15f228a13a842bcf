"""What every page needs: its templates, and figures and pictures embedded in it.

A figure is drawn once for a desk and once for a phone; the style sheet shows one of them. Its colours are tokens
(templates/tokens.css), so that it follows the look of the page. matplotlib wants colours as numbers: each token has
a stand-in, a number that no figure uses for itself, and `svg` puts the token in its place.
"""

import io
import re
from collections.abc import Callable
from html import escape
from typing import Any

import matplotlib as mpl
from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from matplotlib.figure import Figure
from PIL import Image

DESK_IN, PHONE_IN = 11.0, 4.7
"""Width of a figure, in inches. On a screen of 390 px, text of 10 points has about 10 px."""
INK, SOFT, LINE, EDGE, DEEP = "#010001", "#010002", "#010003", "#010004", "#010005"
SERIES = ("#010101", "#010102", "#010103", "#010104", "#010105", "#010106")
TOKENS: dict[str, str] = {
    **{INK: "ink", SOFT: "soft", LINE: "line", EDGE: "edge", DEEP: "deep"},
    **{stand_in: f"series-{number}" for number, stand_in in enumerate(SERIES, 1)},
}
INKED: dict[Any, str] = {
    **dict.fromkeys(("text.color", "axes.labelcolor", "axes.titlecolor", "xtick.labelcolor", "ytick.labelcolor"), INK),
    **dict.fromkeys(("axes.edgecolor", "xtick.color", "ytick.color"), EDGE),
    **dict.fromkeys(("figure.facecolor", "axes.facecolor", "savefig.facecolor"), "none"),
    "grid.color": LINE,
}
IDENTITY = re.compile(r"""(\bid="|href="#|url\(#)""")


def page_environment() -> Environment:
    """The templates of the report, which may include what is in static/; an undefined name raises."""
    return Environment(
        loader=ChoiceLoader([PackageLoader("controller.report", folder) for folder in ("templates", "static")]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
    )


def token(stand_in: str) -> str:
    """The CSS value of a token, for a colour outside a figure."""
    return f"var(--{TOKENS[stand_in]})"


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
        draw(width_in).savefig(
            buffer, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None}
        )
    text = buffer.getvalue()
    text = IDENTITY.sub(rf"\g<1>{name}-", text[text.index("<svg") :])
    for stand_in in TOKENS:
        text = text.replace(stand_in, token(stand_in))
    return Markup(text.replace("<svg ", f'<svg role="img" aria-label="{escape(words)}" ', 1))


def jpeg(picture: Image.Image, quality: int, comment: bytes = b"") -> bytes:
    """The picture as the content of a JPEG file."""
    buffer = io.BytesIO()
    picture.save(buffer, format="JPEG", quality=quality, optimize=True, comment=comment)
    return buffer.getvalue()
