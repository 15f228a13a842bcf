"""Flags of `os.open` that not every system has: 0 where it lacks one."""

import os

NO_FOLLOW = getattr(os, "O_NOFOLLOW", 0)
"""Refuse a link."""
NOT_FOR_CHILDREN = getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NOINHERIT", 0)
"""Close it in other programs that this one starts."""
NO_WAIT = getattr(os, "O_NONBLOCK", 0)
"""Do not wait for the other end of a pipe."""
BYTES = getattr(os, "O_BINARY", 0)
"""Windows: leave line ends as they are."""
TO_SYNC = os.O_RDWR if os.name == "nt" else os.O_RDONLY
"""Open a file to have it written to the disk: Windows does that only for who may write."""
