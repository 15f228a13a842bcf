"""The example kit, which the tutorial shows: invented, and complete without the open lens data."""

from pathlib import Path

EXAMPLE = Path(__file__).with_suffix(".toml")


def example_text() -> str:
    """The kit file. Raises OSError."""
    return EXAMPLE.read_text(encoding="utf-8")
