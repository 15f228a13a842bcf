"""Plans while their options change: a process that stays loaded, and forgets what nobody waits for any more."""

import asyncio
import json
import sys
from contextlib import suppress
from typing import Any

WORKER = (sys.executable, "-m", "controller.cli.plan_worker")
LONGEST_BYTES = 16_000_000  # of an answer: shapes of some thousand frames
PATIENCE_S = 120.0


class Superseded(Exception):
    """A newer request has taken the place of this one."""


class Planner:
    """One process for all devices; the newest request counts."""

    def __init__(self) -> None:
        self._process: asyncio.subprocess.Process | None = None
        self._newest = 0
        self._turn = asyncio.Lock()

    async def plan(self, kit: str, options: list[str]) -> dict[str, Any]:
        """The answer of `controller/cli/plan_worker.py`. Raises Superseded."""
        self._newest += 1
        mine = self._newest
        if self._turn.locked():
            await self._end()  # it works on an answer that nobody wants now
        async with self._turn:
            if mine != self._newest:
                raise Superseded
            answer = await self._ask(json.dumps({"kit": kit, "options": options}, allow_nan=False))
        if mine != self._newest:
            raise Superseded
        return answer

    async def _ask(self, line: str) -> dict[str, Any]:
        process = await self._running()
        assert process.stdin is not None
        assert process.stdout is not None
        try:
            process.stdin.write(f"{line}\n".encode())
            await process.stdin.drain()
            printed = await asyncio.wait_for(process.stdout.readline(), PATIENCE_S)
        except (TimeoutError, ConnectionError):
            await self._end()
            return {"refused": "Planning took too long. Choose less overlap, a smaller region or less effort."}
        except BaseException:
            await self._end()
            raise
        if not printed:
            await self._end()
            return {"refused": "Planning ended early. Look at the terminal of the page."}
        answer: dict[str, Any] = json.loads(printed)
        return answer

    async def _running(self) -> asyncio.subprocess.Process:
        if self._process is None or self._process.returncode is not None:
            self._process = await asyncio.create_subprocess_exec(
                *WORKER, stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE, limit=LONGEST_BYTES
            )
        return self._process

    async def _end(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            with suppress(ProcessLookupError):
                process.kill()
            await process.wait()

    async def close(self) -> None:
        """End the process."""
        await self._end()
