"""The page's end of the conversation with the child that holds the head."""

import asyncio
import sys
from asyncio.subprocess import PIPE, Process
from collections.abc import AsyncIterator
from contextlib import suppress
from pathlib import Path

from controller import clock
from controller.errors import InputError
from controller.page.messages import (
    LONGEST_LINE,
    FromChild,
    HereSent,
    TalkEnded,
    ToChild,
    as_line,
    message_from_child,
)

ENDS_WITHIN_S = 8.0
"""How long the child may take to stop the head; after that it is ended, and the board stops by itself."""
UNREAD_BYTES = 1 << 16
"""What a child that does not read may leave in the pipe; the rest is dropped, which only lets leases run out."""
LOST = "The program that held the head has ended. The board stops the head by itself."


class HeadTalk:
    """One child, from `open` to `close`. `ended` is its last message, once there is one."""

    def __init__(self, process: Process) -> None:
        self._process = process
        self.ended: TalkEnded | None = None

    @classmethod
    async def open(cls, kit: Path, port: str, step: str | None = None) -> "HeadTalk":
        """Start a child for the pad, or for one step of setting up."""
        words = [sys.executable, "-m", "controller.page.held", str(kit), port, *([step] if step else [])]
        process = await asyncio.create_subprocess_exec(*words, stdin=PIPE, stdout=PIPE, limit=16 * LONGEST_LINE)
        return cls(process)

    def send(self, message: ToChild) -> None:
        """Send a message, or drop it if the child is gone or does not read."""
        pipe = self._process.stdin
        if pipe is None or pipe.is_closing() or pipe.transport.get_write_buffer_size() > UNREAD_BYTES:
            return
        with suppress(ConnectionError):
            pipe.write(as_line(message))

    def here(self) -> None:
        """Tell the child that the person's device was heard of just now."""
        self.send(HereSent(here=clock.monotonic_ns()))

    async def messages(self) -> AsyncIterator[FromChild]:
        """What the child says, until it has ended; the last one is always how."""
        assert self._process.stdout is not None
        while line := await self._process.stdout.readline():
            with suppress(InputError):
                message = message_from_child(line)
                if isinstance(message, TalkEnded):
                    self.ended = message
                else:
                    yield message
        await self._process.wait()
        self.ended = self.ended or TalkEnded(end=LOST, status=1)
        yield self.ended

    async def close(self) -> None:
        """End the conversation: the child stops the head with a ramp. One that does not end is killed."""
        process = self._process
        if process.stdin is not None:
            process.stdin.close()
        for end in (process.terminate, process.kill):
            with suppress(TimeoutError):
                await asyncio.wait_for(process.wait(), ENDS_WITHIN_S)
                return
            with suppress(ProcessLookupError):
                end()
        await process.wait()
