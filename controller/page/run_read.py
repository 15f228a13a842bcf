"""A session that the page watches: opened once, and read when something was written to it."""

from pathlib import Path
from typing import Any

from controller.errors import InputError, WorldError
from controller.planning.plan_file import plan_from
from controller.session.rows import CAPTURE
from controller.session.session import Session
from controller.showing.shown_run import RunWindow, as_json


class RunRead:
    """A window on the run of the session at `path`. Raises InputError, StorageFailed."""

    def __init__(self, path: Path) -> None:
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
        return as_json(self._window.look())

    def close(self) -> None:
        """Close the file."""
        self._session.close()


def is_capture(path: Path) -> bool:
    """Whether a file is the session of a capture."""
    try:
        with Session.open(path) as session:
            return session.about().get("kind") == CAPTURE
    except (InputError, WorldError):
        return False
