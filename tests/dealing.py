"""The order of the tests if several workers share them."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice

import pytest


def dealt(items: Sequence[pytest.Item], workers: int) -> list[pytest.Item]:
    """The tests in one part for each worker; each part begins with whole modules that have long tests.

    pytest-xdist's `worksteal` gives each worker an equal part of the list. Later, whoever has nothing left takes tests
    from the end of another's part. There they are short: nobody waits long for the last test, and hardly a module is
    split between workers, each of which would make its fixtures.
    """
    modules: dict[str, list[pytest.Item]] = {}
    for item in items:
        modules.setdefault(item.nodeid.partition("::")[0], []).append(item)
    is_long = {name: any(one.get_closest_marker("long") is not None for one in tests) for name, tests in modules.items()}
    parts: list[list[pytest.Item]] = [[] for _ in range(workers)]
    for number, name in enumerate(name for name in modules if is_long[name]):
        parts[number % workers] += modules[name]
    short = iter([one for name, tests in modules.items() if not is_long[name] for one in tests])
    left = len(items)
    for number, part in enumerate(parts):
        part.extend(islice(short, max(0, left // (workers - number) - len(part))))
        left -= len(part)
    return [*(one for part in parts for one in part), *short]
