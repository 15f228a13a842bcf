"""Work for the page: commands of the program itself, as child processes, so that the page never waits for them.

A command prints one JSON value; its sentences on standard error are progress, or the reason why it failed.
"""

import asyncio
import json
import sys
from collections import deque
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from controller import clock

LINES_KEPT = 12
TELL_EVERY_S = 0.2
LONGEST_BYTES = 4_000_000  # of a result
COMMAND = (sys.executable, "-m", "controller")


@dataclass(frozen=True, slots=True)
class WorkResult:
    """How a command ended: its exit status, the JSON value that it printed (None if none), and its last sentences."""

    status: int
    value: Any
    sentences: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """The last sentence, empty if it said nothing."""
        return self.sentences[-1] if self.sentences else ""


@dataclass(slots=True)
class PageJob:
    """A command under way or ended. `title` says what it does; `subject` is the file that it is about."""

    number: int
    title: str
    subject: str
    began_utc: str
    lines: deque[str] = field(default_factory=lambda: deque(maxlen=LINES_KEPT))
    result: WorkResult | None = None
    task: "asyncio.Task[WorkResult] | None" = None

    def as_json(self) -> dict[str, Any]:
        """For the page. `answered`: the work was done, although its exit status may say that something is missing."""
        result = self.result
        return {
            "number": self.number,
            "title": self.title,
            "subject": self.subject,
            "began_utc": self.began_utc,
            "line": self.lines[-1] if self.lines else "",
            "ended": result is not None,
            "status": None if result is None else result.status,
            "answered": result is not None and result.value is not None,
            "sentences": [] if result is None else list(result.sentences),
        }


async def run_command(
    arguments: Sequence[str], folder: Path, progress: Callable[[str], None] = lambda _: None
) -> WorkResult:
    """Run a command of the program in `folder` to its end. It is killed if the caller is cancelled.

    Its sentences name the files of the folder without the place of the folder.
    """
    process = await asyncio.create_subprocess_exec(
        *COMMAND,
        *arguments,
        cwd=folder,
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
        limit=LONGEST_BYTES,
    )
    assert process.stdout is not None
    assert process.stderr is not None
    said: deque[str] = deque(maxlen=LINES_KEPT)

    async def listen(stream: asyncio.StreamReader) -> None:
        while line := await stream.readline():
            if text := line.decode(errors="replace").strip().replace(f"{folder}/", ""):
                said.append(text)
                progress(text)

    try:
        printed, _ = await asyncio.gather(process.stdout.read(), listen(process.stderr))
        status = await process.wait()
    finally:
        if process.returncode is None:
            with suppress(ProcessLookupError):
                process.kill()
            await process.wait()
    return WorkResult(status, _value(printed), tuple(said))


def _value(printed: bytes) -> Any:
    try:
        return json.loads(printed)
    except ValueError:
        return None


class Jobs:
    """The work that the page has begun, by number. One job at a time is about a subject."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._jobs: dict[int, PageJob] = {}
        self._changed = asyncio.Event()

    async def states(self) -> AsyncIterator[list[dict[str, Any]]]:
        """All jobs now, the newest first, and again after each change."""
        while True:
            changed = self._changed
            yield [self._jobs[number].as_json() for number in sorted(self._jobs, reverse=True)]
            await changed.wait()
            await asyncio.sleep(TELL_EVERY_S)

    def _tell(self) -> None:
        self._changed.set()
        self._changed = asyncio.Event()

    def begin(self, title: str, subject: str, arguments: Sequence[str]) -> PageJob:
        """Begin a command. A job that is still about the same subject with the same title is ended first."""
        for earlier in self._jobs.values():
            if earlier.result is None and (earlier.title, earlier.subject) == (title, subject):
                assert earlier.task is not None
                earlier.task.cancel()
        number = max(self._jobs, default=0) + 1
        job = PageJob(number, title, subject, clock.wall_time())
        job.task = asyncio.create_task(self._carry_out(job, arguments))
        self._jobs[number] = job
        for old in sorted(self._jobs)[:-LINES_KEPT]:
            if self._jobs[old].result is not None:
                del self._jobs[old]
        self._tell()
        return job

    async def end(self) -> None:
        """End all work; what it writes appears whole or not at all."""
        tasks = [job.task for job in self._jobs.values() if job.task is not None]
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    async def _carry_out(self, job: PageJob, arguments: Sequence[str]) -> WorkResult:
        def progress(line: str) -> None:
            job.lines.append(line)
            self._tell()

        try:
            job.result = await run_command(arguments, self._folder, progress)
        except asyncio.CancelledError:
            job.result = WorkResult(1, None, ("Stopped.",))
            raise
        except OSError:
            job.result = WorkResult(1, None, ("The program could not be started; see whether memory or disk is full.",))
        finally:
            self._tell()
        return job.result
