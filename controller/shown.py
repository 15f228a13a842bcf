"""Texts that came from outside as they may stand in a sentence."""

from pathlib import Path

MOST = 200  # characters


def escaped(text: str, kept: str = "") -> str:
    """What cannot be printed as escapes, but for the characters `kept`: a terminal would obey it."""
    return "".join(one if one.isprintable() or one in kept else one.encode("unicode_escape").decode() for one in text)


def shown(text: Path | str, most: int = MOST) -> str:
    """On one line, the middle of a long one left out, what cannot be printed escaped."""
    whole, half = str(text), most // 2
    kept = whole if len(whole) <= most else whole[:half] + whole[-half:]  # before the work: it may be of any length
    line = escaped(kept)
    return line if len(line) <= most and kept == whole else f"{line[:half]}...{line[-half:]}"
