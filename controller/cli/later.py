"""Imports that wait for their first use, so that help, completion and refusals load nothing but options.

A module imported under `with later():` runs when one of its names is first used:

    with later():
        from controller.commands import plan as plan_work

Readers and type checkers see ordinary imports. Import only modules there, never names from them: that would run the
module. For the same reason no decorator, default or unquoted annotation may use them.
"""

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder
from importlib.util import LazyLoader
from types import ModuleType


class _Later(MetaPathFinder):
    """Finds modules as Python does, but delays running them."""

    def find_spec(
        self, fullname: str, path: Sequence[str] | None = None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        spec = PathFinder.find_spec(fullname, path, target)
        if spec is not None and spec.loader is not None and spec.submodule_search_locations is None:
            spec.loader = LazyLoader(spec.loader)
        return spec


@contextmanager
def later() -> Iterator[None]:
    """Delay the modules that are imported inside. A module that does not exist raises at once."""
    finder = _Later()
    sys.meta_path.insert(0, finder)
    try:
        yield
    finally:
        sys.meta_path.remove(finder)
