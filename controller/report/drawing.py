"""What every page needs: its templates, and figures and pictures embedded in it."""

import io

import matplotlib as mpl
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from matplotlib.figure import Figure
from PIL import Image


def page_environment() -> Environment:
    """The templates of the report; an undefined name raises."""
    return Environment(
        loader=PackageLoader("controller.report"), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )


def svg(figure: Figure) -> Markup:
    """The figure as an <svg> element. Markup, because it is our own drawing and needs no escaping."""
    buffer = io.StringIO()
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "fullturn", "font.family": "sans-serif"}):
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    text = buffer.getvalue()
    return Markup(text[text.index("<svg") :])


def jpeg(picture: Image.Image, quality: int, comment: bytes = b"") -> bytes:
    """The picture as the content of a JPEG file."""
    buffer = io.BytesIO()
    picture.save(buffer, format="JPEG", quality=quality, optimize=True, comment=comment)
    return buffer.getvalue()
