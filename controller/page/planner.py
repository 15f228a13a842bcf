"""Plans while their options change: a process that stays loaded, and forgets what nobody waits for any more."""

import asyncio
from typing import Any

from controller.page.warm import WarmProcess

WORKER = "controller.cli.plan_worker"


class Superseded(Exception):
    """A newer request has taken the place of this one."""


class Planner:
    """One process for all devices; the newest request counts."""

    def __init__(self) -> None:
        self._worker = WarmProcess(
            WORKER,
            too_long="Planning took too long. Choose less overlap, a smaller region or less effort.",
            ended_early="Planning ended early. Look at the terminal of the page.",
        )
        self._newest = 0
        self._turn = asyncio.Lock()

    async def plan(self, kit: str, options: list[str]) -> dict[str, Any]:
        """The answer of `controller/cli/plan_worker.py`. Raises Superseded."""
        self._newest += 1
        mine = self._newest
        if self._turn.locked():
            await self._worker.end()  # it works on an answer that nobody wants now
        async with self._turn:
            if mine != self._newest:
                raise Superseded
            answer = await self._worker.ask({"kit": kit, "options": options})
        if mine != self._newest:
            raise Superseded
        return answer

    async def close(self) -> None:
        """End the process."""
        await self._worker.end()
