"""Whether a new session can be written to a place."""

import os
from pathlib import Path

from controller.errors import StorageFailed
from controller.places import must_be_free

LEAST_FREE_BYTES = 20_000_000  # several times the size of a session with its journal
BESIDE = ("-wal", "-shm", "-journal")
"""Endings of the files that SQLite writes beside a session.

Source: sqlite.org/fileformat2.html, sections 3 and 4; sqlite.org/howtocorrupt.html, section 1.4.
"""


def must_be_free_session(path: Path) -> None:
    """Check that a new session can be written at `path`.

    Raises StorageFailed, which says how to continue an existing one.
    """
    try:
        must_be_free(path, needs_bytes=LEAST_FREE_BYTES)
    except StorageFailed as error:
        if not os.path.isfile(path):  # also if the name cannot exist
            raise
        raise StorageFailed(f"{error} Or continue that session with `fullturn resume`.") from None
    for beside in BESIDE:  # SQLite would take another session's for this one's, and damage it
        must_be_free(path.with_name(f"{path.name}{beside}"))
