"""Server-sent events, read by a small parser of our own, written after the HTML standard, section 9.2.6."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncGenerator, AsyncIterator
from contextlib import aclosing
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.responses import StreamingResponse

from controller.page.routing import _controls
from controller.page.streams import MOST_OF_DEVICE, MOST_STREAMS, RETRY_MS, PageEvent, Streams
from tests.controller.page.pages import served_in

VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(), lambda each: st.lists(each) | st.dictionaries(st.text(), each)
)


def interpreted(stream: str) -> tuple[list[tuple[str, str]], int | None]:
    """The events of a stream (type, data), and the time until a browser connects again, as the standard says."""
    events: list[tuple[str, str]] = []
    kind, data, retry = "", "", None
    for line in stream.replace("\r\n", "\n").replace("\r", "\n").split("\n")[:-1]:
        if not line:
            if data:
                events.append((kind or "message", data.removesuffix("\n")))
            kind, data = "", ""
            continue
        if line.startswith(":"):
            continue
        field, _, value = line.partition(":")
        value = value.removeprefix(" ")
        if field == "event":
            kind = value
        elif field == "data":
            data += value + "\n"
        elif field == "retry" and value.isascii() and value.isdigit():
            retry = int(value)
    return events, retry


@given(values=st.lists(VALUES, max_size=4))
@settings(max_examples=40)
def test_every_value_comes_through_a_stream(values: list[Any]) -> None:
    stream = "".join(PageEvent("news", value).text() for value in values)
    events, _ = interpreted(stream)
    assert [(kind, json.loads(data)) for kind, data in events] == [("news", value) for value in values]


async def counted(name: str, most: int) -> AsyncIterator[PageEvent]:
    for number in range(most):
        yield PageEvent(name, number)


async def first_of(response: StreamingResponse, most: int) -> str:
    """What a stream sends first: its time to connect again, and `most` events."""
    text = ""
    body = response.body_iterator
    assert isinstance(body, AsyncGenerator)
    async with aclosing(body):
        async for part in body:
            text += str(part)
            if text.count("\n\n") > most:
                break
    return text


def test_a_stream_mixes_its_sources_and_says_when_to_connect_again() -> None:
    async def look() -> str:
        response = Streams().response(1, [counted("a", 3), counted("b", 3)])
        assert isinstance(response, StreamingResponse)
        assert response.media_type == "text/event-stream"  # HTML standard, 9.2.4
        return await first_of(response, 6)

    events, retry = interpreted(asyncio.run(look()))
    assert retry == RETRY_MS
    for name in "ab":
        assert [data for kind, data in events if kind == name] == ["0", "1", "2"]


def test_there_is_a_limit_to_streams_for_a_device_and_for_all_and_a_closed_one_makes_room() -> None:
    async def look() -> None:
        streams, opened = Streams(), []
        for number in range(MOST_STREAMS):
            response = streams.response(number // MOST_OF_DEVICE, [counted("a", 1)])
            assert isinstance(response, StreamingResponse)
            body = response.body_iterator
            await anext(aiter(body))
            opened.append(body)
            if number == MOST_OF_DEVICE - 1:
                assert streams.response(0, []).status_code == 503
        assert streams.response(99, []).status_code == 503
        await opened[0].aclose()  # type: ignore[attr-defined]
        assert streams.response(99, []).status_code == 200
        for body in opened[1:]:
            await body.aclose()  # type: ignore[attr-defined]
        assert all(streams.has_room(number) for number in range(99))

    asyncio.run(look())


def test_a_source_that_breaks_ends_its_stream_so_that_the_page_connects_again() -> None:
    async def broken() -> AsyncIterator[PageEvent]:
        yield PageEvent("a", 1)
        raise ZeroDivisionError

    async def look() -> None:
        streams = Streams()
        response = streams.response(1, [broken()])
        assert isinstance(response, StreamingResponse)
        with pytest.raises(ZeroDivisionError):
            await first_of(response, 5)
        assert streams.has_room(1)

    asyncio.run(look())


def test_every_page_hears_at_once_who_took_the_controls(tmp_path: Path) -> None:
    served = served_in(tmp_path)
    access = served.page.access
    for _ in range(2):
        access.pair(access.keys.control, "Mobile Android")
    first, second = access.devices.devices

    async def look() -> list[object]:
        heard: list[object] = []
        source = _controls(served.page, first.number)
        assert isinstance(source, AsyncGenerator)
        async with aclosing(source) as news:
            heard.append((await anext(news)).value)
            following = asyncio.ensure_future(anext(news))
            await asyncio.sleep(0)
            access.take(second)
            heard.append((await asyncio.wait_for(following, 1)).value)
        return heard

    before, after = asyncio.run(look())
    assert before == {"sentence": "This device (Phone 1) holds the controls.", "holds": True}
    assert isinstance(after, dict)
    assert after["holds"] is False
    assert "Phone 2 took the controls over from Phone 1 at " in after["sentence"]
