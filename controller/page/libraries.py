"""Whether the libraries of the page are installed: an optional extra."""

from importlib.util import find_spec

from controller.errors import InputError

NEEDED = ("starlette", "uvicorn", "segno", "tomlkit")


def must_have_libraries() -> None:
    """Raise InputError if a library of the page is missing."""
    if any(find_spec(name) is None for name in NEEDED):
        raise InputError('The page needs libraries that are not installed: pip install "fullturn[page]".')
