"""The tokens of each look, read from the style sheet, and the contrast of two colours."""

from __future__ import annotations

import re
from pathlib import Path

from controller.report import colours

TEMPLATES = Path(colours.__file__).parent / "templates"
SHEET = re.sub(r"/\*.*?\*/", "", (TEMPLATES / "tokens.css").read_text(encoding="utf-8"), flags=re.DOTALL)
# In the order of the file: paper and light first, then what a screen has in their place.
SELECTORS = {"light": ":root", "dark": ':root:not([data-look="light"])', "night": ':root[data-look="night"]'}


def tokens_of(selector: str) -> dict[str, str]:
    """The custom properties of one rule, without their dashes."""
    (body,) = re.findall(rf"(?:^|[\s}}]){re.escape(selector)}\s*\{{([^}}]*)\}}", SHEET)
    return dict(re.findall(r"--([\w-]+):\s*(#\w+);", body))


TOKENS = {look: tokens_of(selector) for look, selector in SELECTORS.items()}


def channels(colour: str) -> tuple[int, int, int]:
    """Red, green and blue, 0 to 255."""
    red, green, blue = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
    return red, green, blue


def luminance(colour: str) -> float:
    """Relative luminance (W3C, Web Content Accessibility Guidelines 2.2, definition of that name)."""
    parts = [channel / 255 for channel in channels(colour)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio, 1 to 21 (the same, definition of that name)."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)
