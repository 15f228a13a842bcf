"""Sizes of files for people: decimal units (IEC 80000-13), two significant figures."""

UNITS = ("bytes", "kB", "MB", "GB", "TB", "PB", "EB")
FIGURES, MOST_FIGURES = 2, 9


def size_text(size_bytes: float, figures: int = FIGURES) -> str:
    """A number of bytes in the largest unit with a value of at least one: 999 bytes, 1.2 kB, 650 MB, 32 GB."""
    if size_bytes < 1000:
        return f"{size_bytes:.0f} {'byte' if round(size_bytes) == 1 else 'bytes'}"
    scaled, unit = float(size_bytes), 0
    while True:
        digits = len(f"{scaled:.0f}")
        decimals = max(0, figures - digits)
        rounded = round(scaled, figures - digits)
        if rounded < 1000 or unit == len(UNITS) - 1:
            return f"{rounded:.{decimals}f} {UNITS[unit]}"
        scaled, unit = scaled / 1000, unit + 1


def sizes_apart(one_bytes: int, other_bytes: int) -> tuple[str, str]:
    """Two different sizes, with as many figures as needed to distinguish them."""
    for figures in range(FIGURES, MOST_FIGURES + 1):
        texts = size_text(one_bytes, figures), size_text(other_bytes, figures)
        if texts[0] != texts[1]:
            return texts
    return f"{one_bytes} bytes", f"{other_bytes} bytes"
