"""Names that every system takes: cards and folders travel, so a name is judged alike everywhere.

Source: Microsoft's documentation "Naming Files, Paths, and Namespaces", from memory.
"""

import re

FORBIDDEN = '<>:"/\\|?*'
DEVICE = re.compile(r"(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9¹²³])[ .]*(\..*)?", re.IGNORECASE | re.DOTALL)
FILLER = "_"


def name_trouble(name: str) -> str | None:
    """Why Windows refuses a file of this name ("..." after "because"), or None if it takes it."""
    for letter in name:
        if letter in FORBIDDEN:
            return f"Windows allows no {letter} in a name"
        if _is_invisible(letter):
            return "it contains a character that cannot be seen"
    if name.endswith((" ", ".")) and name not in {".", ".."}:
        return "Windows drops a dot or a space at the end of a name"
    if DEVICE.fullmatch(name):
        return f"{name.partition('.')[0].strip()} is the name of a device on Windows"
    return None


def _is_invisible(letter: str) -> bool:
    """Whether it is a control character; Windows refuses those below 32, and a person sees none of them."""
    return ord(letter) < 32 or ord(letter) == 127


def acceptable_name(name: str) -> str:
    """The name, changed where Windows would refuse it: a _ for each such character, and in front of a device's name."""
    changed = "".join(FILLER if letter in FORBIDDEN or _is_invisible(letter) else letter for letter in name)
    kept = changed.rstrip(" .")
    changed = kept + FILLER * (len(changed) - len(kept))
    if DEVICE.fullmatch(changed):
        changed = FILLER + changed
    return changed or FILLER
