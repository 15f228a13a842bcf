"""Texts that came from outside as they may stand in a sentence."""

from pathlib import Path

MOST = 200  # characters


def shown(text: Path | str, most: int = MOST) -> str:
    """On one line, the middle of a long one left out. What cannot be printed is escaped: a terminal would obey it."""
    whole, half = str(text), most // 2
    kept = whole if len(whole) <= most else whole[:half] + whole[-half:]  # before the work: it may be of any length
    escaped = "".join(one if one.isprintable() else one.encode("unicode_escape").decode() for one in kept)
    return escaped if len(escaped) <= most and kept == whole else f"{escaped[:half]}...{escaped[-half:]}"
