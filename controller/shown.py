"""External texts in a form that is fit for a sentence."""

from pathlib import Path

MOST = 200  # characters


def escaped(text: str, kept: str = "") -> str:
    """Unprintable characters as escapes, except those in `kept`: a terminal would obey them."""
    return "".join(one if one.isprintable() or one in kept else one.encode("unicode_escape").decode() for one in text)


def shown(text: Path | str, most: int = MOST) -> str:
    """On one line, without the middle if it is long, with unprintable characters escaped."""
    whole, half = str(text), most // 2
    kept = whole if len(whole) <= most else whole[:half] + whole[-half:]  # cut first: it may be of any length
    line = escaped(kept)
    return line if len(line) <= most and kept == whole else f"{line[:half]}...{line[-half:]}"
