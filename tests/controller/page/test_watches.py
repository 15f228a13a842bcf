"""A session is read once for all devices, and each gets its newest state."""

import asyncio
from pathlib import Path
from typing import Any

import pytest

from controller.page import watches
from controller.page.watches import Watches

PATH = Path("a-session")


class Written:
    """A session that the test writes."""

    opened = closed = read = 0

    def __init__(self, states: list[Any]) -> None:
        self.states, self._seen = states, -1
        Written.opened += 1

    def changed(self) -> bool:
        newest = len(self.states)
        changed, self._seen = newest != self._seen, newest
        return changed

    def shown(self) -> dict[str, Any]:
        Written.read += 1
        if isinstance(self.states[-1], Exception):
            raise self.states[-1]
        return {"number": self.states[-1]}

    def close(self) -> None:
        Written.closed += 1


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(watches, "EVERY_S", 0.0)
    Written.opened = Written.closed = Written.read = 0


async def first(all_watches: Watches, count: int) -> list[int]:
    found = []
    async for state in all_watches.states(PATH):
        found.append(state["number"])
        if len(found) == count:
            break
    return found


def test_five_devices_read_one_file_once() -> None:
    states: list[Any] = [0]

    async def story() -> list[list[int]]:
        every = Watches(lambda _: Written(states))
        devices = [asyncio.create_task(first(every, 4)) for _ in range(5)]
        for number in range(1, 4):
            while Written.read < number:
                await asyncio.sleep(0)
            for _ in range(50):  # every device has taken it
                await asyncio.sleep(0)
            states.append(number)
        return await asyncio.gather(*devices)

    assert asyncio.run(story()) == [[0, 1, 2, 3]] * 5
    assert (Written.opened, Written.closed, Written.read) == (1, 1, 4)


def test_a_slow_device_gets_the_newest_state_only() -> None:
    states: list[Any] = [0]

    async def story() -> list[int]:
        every, found = Watches(lambda _: Written(states)), []
        async for state in every.states(PATH):
            found.append(state["number"])
            if state["number"] == 9:
                return found
            for number in range(1, 10):
                states.append(number)
                read = Written.read
                while Written.read == read:
                    await asyncio.sleep(0)
        return found

    assert asyncio.run(story()) == [0, 9]


def test_a_later_device_gets_the_state_at_once() -> None:
    async def story() -> None:
        every = Watches(lambda _: Written([7]))
        kept = every.states(PATH)
        assert (await anext(kept))["number"] == 7
        assert await first(every, 1) == [7]
        assert Written.opened == 1
        await kept.aclose()

    asyncio.run(story())
    assert Written.closed == 1


def test_a_failure_reaches_every_device_and_the_next_begins_again() -> None:
    states: list[Any] = [0, OSError("gone")]

    async def story() -> list[int]:
        every = Watches(lambda _: Written(states))
        for result in await asyncio.gather(first(every, 1), first(every, 1), return_exceptions=True):
            assert isinstance(result, OSError)
        states.append(2)
        return await first(every, 1)

    assert asyncio.run(story()) == [2]
    assert Written.opened == Written.closed
