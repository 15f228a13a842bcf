"""Where a new session can be written."""

import os
from pathlib import Path

from controller.errors import StorageFailed
from controller.places import must_be_free

LEAST_FREE_BYTES = 20_000_000  # for a session with its journal, many times over
BESIDE = ("-wal", "-shm", "-journal")
"""What SQLite writes beside a session (sqlite.org/fileformat2.html, sections 3 and 4; howtocorrupt.html, section 1.4)."""


def must_be_free_session(path: Path) -> None:
    """Check that a new session can be written at `path`. Raises StorageFailed, which says what a session there is for."""
    try:
        must_be_free(path, needs_bytes=LEAST_FREE_BYTES)
    except StorageFailed as error:
        if not os.path.isfile(path):  # of a name that cannot be, too
            raise
        raise StorageFailed(f"{error} Or go on with the session by `fullturn resume`.") from None
    for beside in BESIDE:  # one of another session would be taken for this one's, and spoil it
        must_be_free(path.with_name(f"{path.name}{beside}"))
