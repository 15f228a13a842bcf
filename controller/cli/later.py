"""Imports that wait for their first use, so that help, completion and refusals load options and nothing else.

Modules imported under `with later():` run when something is first taken from them:

    with later():
        from controller.commands import plan as plan_work

Readers and type checkers see ordinary imports. Import modules there, never their names: taking a name runs the module.
For the same reason no decorator, default or unquoted annotation may use them.
"""

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder
from importlib.util import LazyLoader
from types import ModuleType


class _Later(MetaPathFinder):
    """Finds modules as Python does, and puts off running them."""

    def find_spec(
        self, fullname: str, path: Sequence[str] | None = None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        spec = PathFinder.find_spec(fullname, path, target)
        if spec is not None and spec.loader is not None and spec.submodule_search_locations is None:
            spec.loader = LazyLoader(spec.loader)
        return spec


@contextmanager
def later() -> Iterator[None]:
    """Put off the modules that are imported inside. A module that does not exist is refused at once."""
    finder = _Later()
    sys.meta_path.insert(0, finder)
    try:
        yield
    finally:
        sys.meta_path.remove(finder)
