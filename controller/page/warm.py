"""A process that stays loaded and answers one JSON line with another; it ends with its standard input."""

import asyncio
import json
import sys
from contextlib import suppress
from typing import Any

LONGEST_BYTES = 16_000_000  # of an answer: shapes of some thousand frames
PATIENCE_S = 120.0


class WarmProcess:
    """A module of this program as such a process, started by the first question. One question at a time."""

    def __init__(self, module: str, *, too_long: str, ended_early: str) -> None:
        self._command = (sys.executable, "-m", module)
        self._too_long, self._ended_early = too_long, ended_early
        self._process: asyncio.subprocess.Process | None = None

    async def ask(self, question: dict[str, Any]) -> dict[str, Any]:
        """The answer; or `refused`, the sentence that says why there is none."""
        process = await self._running()
        assert process.stdin is not None
        assert process.stdout is not None
        try:
            process.stdin.write(f"{json.dumps(question, allow_nan=False)}\n".encode())
            await process.stdin.drain()
            printed = await asyncio.wait_for(process.stdout.readline(), PATIENCE_S)
        except (TimeoutError, ConnectionError):
            await self.end()
            return {"refused": self._too_long}
        except BaseException:
            await self.end()
            raise
        if not printed:
            await self.end()
            return {"refused": self._ended_early}
        answer: dict[str, Any] = json.loads(printed)
        return answer

    async def _running(self) -> asyncio.subprocess.Process:
        if self._process is None or self._process.returncode is not None:
            self._process = await asyncio.create_subprocess_exec(
                *self._command, stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE, limit=LONGEST_BYTES
            )
        return self._process

    async def end(self) -> None:
        """End the process; the next question starts another."""
        process, self._process = self._process, None
        if process is not None:
            with suppress(ProcessLookupError):
                process.kill()
            await process.wait()
