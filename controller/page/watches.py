"""Watching sessions for the devices that show them: each session is read once, however many devices look.

A device that reads slowly gets the newest state, never a queue of old ones.
"""

import asyncio
from collections.abc import AsyncGenerator, Callable
from contextlib import aclosing, suppress
from pathlib import Path
from typing import Any, Protocol

EVERY_S = 0.08  # between two looks; a change must be on the page within 0.3 s
SEES_PROCESS_S = 1.0  # between two looks whether a process still runs the session


class ReadAgain(Protocol):
    """A session that is read again and again."""

    def changed(self) -> bool:
        """Whether anything was written since the last call."""

    def shown(self) -> dict[str, Any]:
        """What a window shows of it now."""

    def close(self) -> None:
        """Close the file."""


Opener = Callable[[Path], ReadAgain]


class Watch:
    """One session, and the devices that watch it."""

    def __init__(self, path: Path, opener: Opener) -> None:
        self._path, self._opener = path, opener
        self._latest: dict[str, Any] | None = None
        self._news: set[asyncio.Event] = set()
        self._task: asyncio.Task[None] | None = None
        self._failed: Exception | None = None

    async def states(self) -> AsyncGenerator[dict[str, Any], None]:
        """The state now, and each later one. Raises what reading the session raises."""
        news = asyncio.Event()
        self._news.add(news)
        try:
            if self._task is None or self._task.done():
                self._failed, self._latest = None, None
                self._task = asyncio.create_task(self._look())
            if self._latest is not None:
                news.set()
            while True:
                await news.wait()
                news.clear()
                if self._failed is not None:
                    raise self._failed
                if self._latest is not None:
                    yield self._latest
        finally:
            self._news.discard(news)
            if not self._news and self._task is not None:
                self._task.cancel()
                with suppress(asyncio.CancelledError):
                    await self._task
                self._task = None

    async def _look(self) -> None:
        looked = None
        try:
            looked = self._opener(self._path)
            since_s = SEES_PROCESS_S
            while True:
                if looked.changed() or since_s >= SEES_PROCESS_S:
                    since_s = 0.0
                    shown = looked.shown()
                    if shown != self._latest:
                        self._latest = shown
                        self._tell()
                await asyncio.sleep(EVERY_S)
                since_s += EVERY_S
        except Exception as error:  # whatever it is, every device is told, and the next one begins again
            self._failed = error
            self._tell()
        finally:
            if looked is not None:
                looked.close()

    def _tell(self) -> None:
        for news in self._news:
            news.set()


class Watches:
    """All sessions that are watched."""

    def __init__(self, opener: Opener) -> None:
        self._opener = opener
        self._watches: dict[Path, Watch] = {}

    async def states(self, path: Path) -> AsyncGenerator[dict[str, Any], None]:
        """The states of a session; see `Watch.states`."""
        watch = self._watches.setdefault(path, Watch(path, self._opener))
        async with aclosing(watch.states()) as states:
            async for state in states:
                yield state
