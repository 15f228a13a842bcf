"""What a route needs: `see` and `say` any paired device, `control` the one that holds the controls."""

from __future__ import annotations

import asyncio
from itertools import product
from pathlib import Path

import pytest
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from controller.errors import InputError, WorldError
from controller.page.devices import Device
from controller.page.page import Page
from controller.page.routing import Endpoint, control, say, see
from tests.controller.page.pages import Served, served_in


@pytest.fixture
def served(tmp_path: Path) -> Served:
    return served_in(tmp_path)


def asked(route: Route, device: Device) -> tuple[int, bytes]:
    """The answer of a route to a device, as the guard lets it through."""
    sent: list[dict[str, object]] = []

    async def ask() -> None:
        async def receive() -> dict[str, object]:
            return {"type": "http.request", "body": b"", "more_body": False}

        async def send(message: object) -> None:
            assert isinstance(message, dict)
            sent.append(message)

        scope = {"type": "http", "method": next(iter(route.methods or ())), "path": route.path, "headers": []}
        await route.app({**scope, "query_string": b"", "state": {"device": device}}, receive, send)

    asyncio.run(ask())
    status = sent[0]["status"]
    assert isinstance(status, int)
    return status, b"".join(bytes(each.get("body", b"")) for each in sent[1:])  # type: ignore[call-overload]


@pytest.mark.parametrize(("is_async", "kind"), list(product((False, True), (see, say, control))))
def test_only_the_holder_does_anything_and_everybody_sees(served: Served, is_async: bool, kind: object) -> None:
    """Every kind of route for every kind of device: look on, may control, holds."""
    access, done = served.page.access, list[int]()
    for key in ("control", "control", "see"):
        access.pair(getattr(access.keys, key), "")
    holder, other, onlooker = access.devices.devices

    def endpoint(_: Page, request: Request) -> Response:
        done.append(request.state.device.number)
        return Response(b"done")

    async def endpoint_async(page: Page, request: Request) -> Response:
        return endpoint(page, request)

    assert callable(kind)
    route = kind(served.page, "/x", endpoint_async if is_async else endpoint)
    for device, may in ((holder, True), (other, kind is not control), (onlooker, kind is not control)):
        status, body = asked(route, device)
        assert (status, body == b"done", device.number in done) == ((200, True, True) if may else (403, False, False))
        assert may or body.endswith(b'."}')
    access.take(other)
    for device, may in ((holder, kind is not control), (other, True)):
        assert (asked(route, device)[0] == 200) == may


@pytest.mark.parametrize(
    ("error", "status"), [(InputError(["Not this.", "Nor that."]), 400), (WorldError("It was unplugged."), 409)]
)
def test_what_cannot_be_done_is_one_sentence_as_on_the_command_line(
    served: Served, error: Exception, status: int
) -> None:
    served.page.access.pair(served.page.access.keys.control, "")
    (device,) = served.page.access.devices.devices

    def endpoint(*_: object) -> Response:
        raise error

    asks: Endpoint = endpoint
    found, body = asked(control(served.page, "/x", asks), device)
    assert found == status
    assert body.decode() == f'{{"sentence":"{str(error).replace(chr(10), " ")}"}}'
