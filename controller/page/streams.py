"""Server-sent events (HTML standard, section 9.2): one stream for each open page, of a limited number.

A browser opens at most six connections to one host (common practice, no source), so a page has one stream: that of its
view, into which `stream_of` mixes the news about the controls.
"""

import asyncio
import json
from collections import Counter
from collections.abc import AsyncIterator
from contextlib import suppress
from dataclasses import dataclass

from starlette.responses import PlainTextResponse, Response, StreamingResponse

MOST_STREAMS, MOST_OF_DEVICE = 64, 6
SILENT_S = 2.0  # a beat is sent after that, so that both ends notice a broken connection (SILENT_MS in page.js)
RETRY_MS = 1000


@dataclass(frozen=True, slots=True)
class PageEvent:
    """An event for a page: its name, and a value that JSON can hold."""

    name: str
    value: object

    def text(self) -> str:
        """The event as it is sent. JSON has no line breaks outside its texts, and escapes those inside."""
        return f"event: {self.name}\ndata: {json.dumps(self.value, allow_nan=False)}\n\n"


BEAT, BROKEN, END = (PageEvent(name, None) for name in ("beat", "broken", "end"))


class Streams:
    """Counts open streams."""

    def __init__(self) -> None:
        self._open: Counter[int] = Counter()
        self._queues: set[asyncio.Queue[PageEvent]] = set()

    def has_room(self, device: int) -> bool:
        """Whether one more stream may be opened for a device."""
        return self._open[device] < MOST_OF_DEVICE and self._open.total() < MOST_STREAMS

    def response(self, device: int, sources: list[AsyncIterator[PageEvent]]) -> Response:
        """A response that sends the events of all sources, as they come; 503 if too many streams are open."""
        if not self.has_room(device):
            return PlainTextResponse("Too many pages are open. Close some.", 503, {"Retry-After": "10"})
        return StreamingResponse(self._sent(device, sources), media_type="text/event-stream")

    async def _sent(self, device: int, sources: list[AsyncIterator[PageEvent]]) -> AsyncIterator[str]:
        self._open[device] += 1
        waiting: asyncio.Queue[PageEvent] = asyncio.Queue(maxsize=1)  # a slow reader slows its sources down
        self._queues.add(waiting)
        tasks = [asyncio.create_task(_pump(source, waiting)) for source in sources]
        try:
            yield f"retry: {RETRY_MS}\n\n"
            while True:
                event = BEAT
                with suppress(TimeoutError):
                    event = await asyncio.wait_for(waiting.get(), SILENT_S)
                if event is END:
                    return
                if event is BROKEN:
                    await asyncio.gather(*(task for task in tasks if task.done()))  # raises what broke it
                yield event.text()
        finally:
            for task in tasks:
                task.cancel()
            self._queues.discard(waiting)
            self._open[device] -= 1

    def close(self) -> None:
        """End all streams: the server ends."""
        for waiting in self._queues:
            while not waiting.empty():
                waiting.get_nowait()
            waiting.put_nowait(END)


async def _pump(source: AsyncIterator[PageEvent], waiting: asyncio.Queue[PageEvent]) -> None:
    try:
        async for event in source:
            await waiting.put(event)
    except Exception:
        await waiting.put(BROKEN)
        raise
