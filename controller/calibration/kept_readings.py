"""Readings kept in a file while they are typed, so that an interruption loses none of them."""

import os
from collections.abc import Callable
from pathlib import Path

from controller import clock
from controller.errors import StorageFailed
from controller.files import Rewritten

READINGS = "The readings are kept in {path} as you type them; --from {path} works with them later."
ALL = "The readings of all moves are kept in {path}; --from {path} works with them later."
MOVES = "The moves are listed in {path}, with the time at which each ended."


class KeptReadings:
    """A new CSV file in `folder`, written whole after every row; `tell` receives its path once, in the sentence `said`.

    If it cannot be written, `tell` receives that once, and the readings continue without it.
    """

    def __init__(
        self, tell: Callable[[str], None], folder: Path = Path(), stem: str = "readings", said: str = READINGS
    ) -> None:
        self._tell, self._folder, self._stem, self._said = tell, folder, stem, said
        self._file: Rewritten | None = None
        self._failed = False

    def __call__(self, text: str) -> None:
        """Keep all rows so far, given as the text of a CSV file."""
        if self._failed or not text:
            return
        file = self._file or Rewritten(self._new())
        try:
            file.write(text)
        except StorageFailed as error:
            self._failed = True
            self._tell(f"The {self._stem} are not kept while you work: {error}")
            return
        if self._file is None:
            self._file = file
            self._tell(self._said.format(path=file.path))

    def _new(self) -> Path:
        name = f"{self._stem}-{clock.local_time():%Y%m%d-%H%M%S}"
        path, number = self._folder / f"{name}.csv", 1
        while os.path.lexists(path):
            number += 1
            path = self._folder / f"{name}-{number}.csv"
        return path
