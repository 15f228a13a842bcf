"""`fullturn kit find`: search the open lens data. In a module of its own, because it loads little else."""

from controller.errors import InputError
from controller.kit.lens_data import Entry
from controller.kit.search import search


def find_command(words: list[str], kinds: tuple[str, ...]) -> list[Entry]:
    """Cameras and lenses whose names contain all words, the closest first. Raises InputError if there are none."""
    found = search(words, kinds)
    if not found:
        raise InputError(f"Nothing in the open lens data has {' '.join(words)} in its name; try fewer words.")
    return found
