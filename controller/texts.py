"""Check a typed text, and say what to type instead."""

from controller.quantity import quoted

MOST_TEXT = 200  # characters
MOST_PATH_BYTES = 4000  # of a path (Linux: limits.h)


def text_trouble(text: str, most: int = MOST_TEXT) -> str:
    """The fault of a typed text, as a sentence; empty if there is none."""
    if not text.strip():
        return "is empty. Type something, or leave the option out."
    if not text.isprintable():
        return f"{quoted(text)} has characters in it that cannot be printed. Type it without them."
    if len(text) > most:
        return f"{quoted(text)} has {len(text)} characters. Use {most} at most."
    return ""
