"""What the page asks about kits: a process that has loaded the open lens data, which the page itself never does."""

import asyncio
from pathlib import Path
from typing import Any

from controller.page.warm import WarmProcess

WORKER = "controller.cli.kit_worker"


class KitDesk:
    """One process for all devices; each question waits for its turn."""

    def __init__(self) -> None:
        self._worker = WarmProcess(
            WORKER,
            too_long="Reading the kit took too long. Try again.",
            ended_early="Reading the kit ended early. Look at the terminal of the page.",
        )
        self._turn = asyncio.Lock()

    async def find(self, words: str, kind: str) -> dict[str, Any]:
        """Cameras or lenses whose names have all words (see `kit_worker`)."""
        return await self._ask({"find": words.split(), "kind": kind})

    async def judge(self, text: str, name: str, path: Path | None) -> dict[str, Any]:
        """What follows from the text of a kit, or its mistakes (see `kit_worker`)."""
        return await self._ask({"text": text, "name": name, "path": None if path is None else str(path)})

    async def _ask(self, question: dict[str, Any]) -> dict[str, Any]:
        async with self._turn:
            return await self._worker.ask(question)

    async def close(self) -> None:
        """End the process."""
        await self._worker.end()
