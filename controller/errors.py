"""The errors that users see, in two families, each with a sentence that says what to do.

```
InputError      what the user gave cannot be used        exit status 2
WorldError      something outside the program failed     exit status 1
├── LinkLost        the cable was pulled, the board lost power, another program holds the port
├── BoardRefused    the board refused a command
├── RunStopped      the run ended before the set was complete, resumable
└── StorageFailed   the disk is full, the folder cannot be written
    └── SessionGone     the session was removed while it was open
```

Any other exception is a bug in the program and ends it with a traceback.
"""

from collections.abc import Iterable
from pathlib import Path


class InputError(Exception):
    """A file or an option that cannot be used: one sentence for each mistake, nothing written."""

    def __init__(self, sentences: str | Iterable[str]) -> None:
        self.sentences = (sentences,) if isinstance(sentences, str) else tuple(sentences)
        super().__init__("\n".join(self.sentences))


class WorldError(Exception):
    """Something outside the program prevented it: one sentence, with what to do next."""


class LinkLost(WorldError):
    """No answer from the board, or the port itself is gone."""


class BoardRefused(WorldError):
    """The board refused a command that the run cannot do without."""


class RunStopped(WorldError):
    """The run ended before the set was complete; its session says how far it came."""


class StorageFailed(WorldError):
    """A file could not be written."""


class SessionGone(StorageFailed):
    """The session was removed, or replaced by another file, while it was open."""

    def __init__(self, path: Path) -> None:
        super().__init__(
            f"The session {path} was removed or replaced. A run that ends before its first move removes its own."
        )
