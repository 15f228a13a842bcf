"""Who runs the program."""

import os
import sys


def runs_as_root() -> bool:
    """Whether it runs as the administrator of a system of the Unix kind."""
    return sys.platform != "win32" and os.geteuid() == 0
