"""The one head that the page's devices move: at most one conversation at a time, and what everybody is shown of it."""

import asyncio
import json
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from controller import clock
from controller.errors import InputError
from controller.page.beats import LATE_NS, Beats
from controller.page.conversation import FRESH_NS
from controller.page.head import HeadTalk
from controller.page.messages import (
    AskedAloud,
    PlaceTold,
    Said,
    TalkEnded,
    ToChild,
    WithdrawnQuestion,
    message_to_child,
)

SAID = 6  # sentences that are shown
NOT_OPEN = "Nothing holds the head now. Open the pad first."
LATE = "The connection is too slow, so nothing was moved. Touch again."


class HeadRequest(BaseModel):
    """What a device asks of the head: a message of `messages` without its times, and how old it is at most.

    `beat` is the last beat that the device saw, `since_ms` how long before the message that was.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)

    talk: int
    beat: int
    since_ms: Annotated[float, Field(ge=0, le=60_000, strict=False)]
    message: dict[str, Any]


def stamped(request: HeadRequest, beats: Beats, now_ns: int) -> ToChild:
    """The message for the child, with the time when it was done. Raises InputError if it is late or not understood.

    What stops the head is passed on however late it is.
    """
    message = dict(request.message)
    limits = {"lease": LATE_NS, "do": FRESH_NS, "answer": FRESH_NS}
    for kind, late_ns in limits.items():
        if kind in message:
            done_ns = beats.done_ns(request.beat, request.since_ms, now_ns, late_ns)
            if done_ns is None:
                raise InputError(LATE)
            if kind == "do":
                message["sent_ns"] = done_ns
            elif kind == "lease" and isinstance(message["lease"], dict):
                message["lease"] = message["lease"] | {"renewed_ns": done_ns}
    if "here" in message:
        raise InputError("The page itself tells who is here.")
    return message_to_child(json.dumps(message, allow_nan=False).encode())


class HeadDesk:
    """The conversation, if one is open, and what is shown of it."""

    def __init__(self) -> None:
        self.beats = Beats()
        self._talk: HeadTalk | None = None
        self._number = 0
        self._reading: asyncio.Task[None] | None = None
        self._opening = asyncio.Lock()
        self._changed = asyncio.Event()
        self._said: list[str] = []
        self._question: AskedAloud | None = None
        self._place: dict[str, Any] | None = None
        self._ended: TalkEnded | None = None
        self._rings = 0

    def shown(self) -> dict[str, Any]:
        """What a device is shown, as JSON: the open conversation's number, its sentences, question and place."""
        return {
            "talk": self._number if self._talk is not None else None,
            "said": self._said,
            "question": None if self._question is None else self._question.model_dump(),
            "place": self._place,
            "ended": None if self._ended is None else self._ended.model_dump(),
            "rings": self._rings,
        }

    async def changes(self) -> AsyncIterator[dict[str, Any]]:
        """What is shown, now and after each change."""
        while True:
            changed = self._changed
            yield self.shown()
            await changed.wait()

    def beat(self) -> int:
        """A new beat for a device that was just heard of."""
        return self.beats.new(clock.monotonic_ns())

    def here(self, talk: int) -> int:
        """Note that the device which opened this conversation is there. Returns a new beat."""
        if self._talk is not None and talk == self._number:
            self._talk.here()
        return self.beat()

    def send(self, request: HeadRequest) -> int:
        """Pass on what a device asks for. Returns a new beat. Raises InputError."""
        if self._talk is None or request.talk != self._number:
            raise InputError(NOT_OPEN)
        message = stamped(request, self.beats, clock.monotonic_ns())
        self._talk.send(message)
        return self.beat()

    async def begin(self, kit: Path, port: str, step: str | None) -> int:
        """Open a conversation in place of an earlier one. Returns its number."""
        async with self._opening:
            await self._close()
            self._talk = await HeadTalk.start(kit, port, step)
            self._number += 1
            self._said, self._question, self._place, self._ended = [], None, None, None
            self._reading = asyncio.create_task(self._read(self._talk))
            self._tell_change()
            return self._number

    async def close(self, talk: int) -> None:
        """End this conversation, if it is the open one: the head is stopped with a ramp."""
        if talk == self._number:
            async with self._opening:
                await self._close()

    async def _close(self) -> None:
        if self._talk is not None:
            await self._talk.close()
        if self._reading is not None:
            await self._reading

    async def _read(self, talk: HeadTalk) -> None:
        async for message in talk.messages():
            match message:
                case Said():
                    self._said = [*self._said, message.say][-SAID:]
                case AskedAloud():
                    self._question = message
                case WithdrawnQuestion():
                    self._question = None
                case PlaceTold():
                    self._place = message.place.model_dump()
                case TalkEnded():
                    self._talk, self._question, self._ended = None, None, message
                case _:
                    self._rings += 1
            self._tell_change()

    def _tell_change(self) -> None:
        self._changed.set()
        self._changed = asyncio.Event()
