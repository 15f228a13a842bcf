"""The page's side of the head: one conversation at a time, with a real child and a rig in real time."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from controller import clock
from controller.errors import InputError
from controller.page.head_desk import NOT_OPEN, HeadDesk, HeadRequest
from tests.controller.page.rig_at_port import served

if sys.platform == "win32":
    pytest.skip("no pseudo-terminals", allow_module_level=True)

pytestmark = pytest.mark.long
PATIENCE_S = 20.0


async def wait_shown(desk: HeadDesk, wanted: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
    """What is shown, as soon as it is as wanted; the device is there meanwhile."""

    async def seen() -> dict[str, Any]:
        async for shown in desk.changes():
            if wanted(shown):
                return shown
        raise AssertionError

    return await asyncio.wait_for(seen(), PATIENCE_S)


def request(desk: HeadDesk, talk: int, message: dict[str, Any]) -> HeadRequest:
    return HeadRequest(talk=talk, beat=desk.here(talk), since_ms=0.0, message=message)


async def story(folder: Path, port: Path, turns: Callable[[], bool]) -> None:
    desk = HeadDesk()
    kit = folder / "kit.toml"
    assert desk.shown()["talk"] is None
    with pytest.raises(InputError, match=NOT_OPEN):
        desk.send(HeadRequest(talk=0, beat=0, since_ms=0.0, message={"stop": True}))
    first = await desk.begin(kit, str(port), None)
    await wait_shown(desk, lambda shown: shown["place"] is not None)
    desk.send(request(desk, first, {"do": "zero"}))
    question = (await wait_shown(desk, lambda shown: shown["question"] is not None))["question"]
    desk.send(request(desk, first, {"answer": question["number"], "yes": True}))
    await wait_shown(desk, lambda shown: shown["place"]["known"] and shown["question"] is None)
    begun_ns = clock.monotonic_ns()
    number = 0
    while not turns():
        number += 1
        lease = {"press": 1, "number": number, "pan": 1, "tilt": 0, "speed": 2}
        desk.send(request(desk, first, {"lease": lease}))
        assert clock.monotonic_ns() < begun_ns + PATIENCE_S * 1e9
        await asyncio.sleep(0.05)
    second = await desk.begin(kit, str(port), None)  # another device: the first conversation ends, its head at rest
    assert not turns()
    assert second != first
    with pytest.raises(InputError, match=NOT_OPEN):
        desk.send(request(desk, first, {"do": "zero"}))
    await wait_shown(desk, lambda shown: shown["place"] is not None)
    await desk.close(first)
    assert desk.shown()["talk"] == second
    await desk.close(second)
    assert desk.shown()["talk"] is None
    assert desk.shown()["ended"]["status"] == 0


def test_one_conversation_at_a_time_and_the_next_begins_with_a_head_at_rest(tmp_path: Path) -> None:
    with served(tmp_path) as (port, turns):
        asyncio.run(story(tmp_path, port, turns))


def test_what_cannot_be_held_is_told_in_the_programs_own_sentence(tmp_path: Path) -> None:
    async def open_one() -> dict[str, Any]:
        desk = HeadDesk()
        await desk.begin(tmp_path / "kit.toml", str(tmp_path / "nothing"), None)
        return await wait_shown(desk, lambda shown: shown["ended"] is not None)

    (tmp_path / "kit.toml").write_text("[camera]\n", encoding="utf-8")
    ended = asyncio.run(open_one())["ended"]
    assert ended["status"] == 2
    assert "camera" in ended["end"]


def test_a_step_is_looked_at_by_a_child_of_its_own(tmp_path: Path) -> None:
    """The stop switch: the rig has none that anybody presses, so it arms, which the step must notice."""

    async def look(port: Path) -> dict[str, Any]:
        desk = HeadDesk()
        talk = await desk.begin(tmp_path / "kit.toml", str(port), "stop-switch")
        question = (await wait_shown(desk, lambda shown: shown["question"] is not None))["question"]
        assert question["kind"] == "ready"
        assert question["ask"].endswith("Then press the switch.")
        desk.send(request(desk, talk, {"answer": question["number"], "text": ""}))
        return await wait_shown(desk, lambda shown: shown["ended"] is not None)

    with served(tmp_path) as (port, _):
        shown = asyncio.run(look(port))
    assert shown["ended"] == {
        "end": "The board armed with the switch pressed: it does not sense the switch.",
        "status": 1,
    }
