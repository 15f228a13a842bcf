"""Several workers share the tests: the long ones first, and no test is lost or run twice."""

from __future__ import annotations

from collections import Counter
from itertools import groupby

import pytest

from tests.dealing import dealt


class Named:
    """As much of a test as dealing looks at."""

    def __init__(self, module: str, number: int, *, long: bool) -> None:
        self.nodeid, self.long = f"{module}::test_{number}", long

    def get_closest_marker(self, name: str) -> str | None:
        return name if name == "long" and self.long else None


def items_of(modules: dict[str, tuple[int, bool]]) -> list[pytest.Item]:
    """`count` tests in each module, the last of them long or not."""
    found: list[Named] = []
    for module, (count, long) in modules.items():
        found += [Named(module, number, long=long and number == count - 1) for number in range(count)]
    return found  # type: ignore[return-value]


MODULES = {f"tests/m{number}.py": (3 + number, number % 5 == 0) for number in range(17)}


@pytest.mark.parametrize("workers", [1, 2, 3, 4, 7])
def test_every_test_is_dealt_once_and_modules_stay_whole(workers: int) -> None:
    items = items_of(MODULES)
    found = dealt(items, workers)
    assert Counter(one.nodeid for one in found) == Counter(one.nodeid for one in items)
    blocks = [name for name, _ in groupby(one.nodeid.partition("::")[0] for one in found)]
    long = {name for name, (_, is_long) in MODULES.items() if is_long}
    assert sum(name in long for name in blocks) == len(long)
    assert len(blocks) < len(MODULES) + workers  # a short module is split at the end of a part at most


@pytest.mark.parametrize("workers", [2, 3])
def test_each_part_begins_with_long_modules(workers: int) -> None:
    items = items_of(MODULES)
    found = [one.nodeid.partition("::")[0] for one in dealt(items, workers)]
    left, begin, firsts = len(found), 0, []
    for number in range(workers):  # as worksteal divides the list
        share = left // (workers - number)
        part = found[begin : begin + share]
        is_long = [MODULES[name][1] for name in part]
        assert is_long == sorted(is_long, reverse=True)
        firsts.append(is_long[0])
        begin, left = begin + share, left - share
    assert firsts == [True] * workers


def test_more_long_tests_than_a_part_holds_are_dealt_too() -> None:
    items = items_of({"tests/a.py": (50, True), "tests/b.py": (1, False), "tests/c.py": (1, True)})
    assert {one.nodeid for one in dealt(items, 3)} == {one.nodeid for one in items}
