"""Readings kept in a file while they are typed, so that an interruption costs none of them."""

from collections.abc import Callable
from pathlib import Path

from controller import clock
from controller.errors import StorageFailed
from controller.files import write_whole


class KeptReadings:
    """A new CSV file in `folder`, written whole after every row; `tell` hears once where it is.

    Where it cannot be written, that is told once, and the readings go on without it.
    """

    def __init__(self, tell: Callable[[str], None], folder: Path = Path()) -> None:
        self._tell, self._folder = tell, folder
        self._path: Path | None = None
        self._failed = False

    def __call__(self, text: str) -> None:
        """Keep all rows so far, as the text of a CSV file."""
        if self._failed or not text:
            return
        path = self._path or self._new()
        try:
            write_whole(path, text)
        except StorageFailed as error:
            self._failed = True
            self._tell(f"The readings are not kept while you type them: {error}")
            return
        if self._path is None:
            self._path = path
            self._tell(f"The readings are kept in {path} as you type them; --from {path} works with them later.")

    def _new(self) -> Path:
        name = f"readings-{clock.local_time():%Y%m%d-%H%M%S}"
        path, number = self._folder / f"{name}.csv", 1
        while path.exists():
            number += 1
            path = self._folder / f"{name}-{number}.csv"
        return path
