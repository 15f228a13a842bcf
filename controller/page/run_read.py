"""A session that the page watches: opened once, and read when something was written to it."""

from pathlib import Path
from typing import Any

from controller.errors import InputError, WorldError
from controller.planning.plan_file import plan_from
from controller.session.rows import CAPTURE
from controller.session.session import Session
from controller.showing.shown_run import RunWindow, as_json

GONE = (
    "this session was removed or replaced. A run that ends before its first move removes its own. "
    "The list of sessions shows what is there."
)


class RunRead:
    """A window on the run of the session at `path`. Raises InputError, StorageFailed.

    An open file can be read after it was removed, and would show for ever what it held then. So `shown` raises InputError
    once another file, or none, is at the path.
    """

    def __init__(self, path: Path) -> None:
        self._path, self._file = path, _file_at(path)
        self._session = Session.open(path)
        try:
            self._window = RunWindow(self._session, plan_from(self._session.plan_text(), str(path), begun=True))
        except BaseException:
            self._session.close()
            raise
        self._version: int | None = None

    def changed(self) -> bool:
        """Whether anything was written since the last call."""
        version = self._session.data_version()
        changed, self._version = version != self._version, version
        return changed

    def shown(self) -> dict[str, Any]:
        """What a window shows of it now."""
        shown = as_json(self._window.look())
        if _file_at(self._path) != self._file:
            raise InputError(f"{self._path}: {GONE}")
        return shown

    def close(self) -> None:
        """Close the file."""
        self._session.close()


def _file_at(path: Path) -> tuple[int, int] | None:
    """Which file is at a path; None if there is none."""
    try:
        about = path.stat()
    except OSError:
        return None
    return about.st_dev, about.st_ino


def is_capture(path: Path) -> bool:
    """Whether a file is the session of a capture."""
    try:
        with Session.open(path) as session:
            return session.about().get("kind") == CAPTURE
    except (InputError, WorldError):
        return False
