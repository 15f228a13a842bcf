"""Work beside the page: commands of the program as child processes."""

import asyncio
import sys
from pathlib import Path

import pytest

from controller.page import work
from controller.page.work import Jobs, run_command

PRINTS = """
import sys, json
print("one step", file=sys.stderr); print("", file=sys.stderr); print("another step", file=sys.stderr)
print(json.dumps({"words": sys.argv[1:]}))
sys.exit(int(sys.argv[1]))
"""


@pytest.fixture
def stand_in(monkeypatch: pytest.MonkeyPatch) -> None:
    """A command that prints its words, and ends with the first one as its status."""
    monkeypatch.setattr(work, "COMMAND", (sys.executable, "-c", PRINTS))


@pytest.mark.usefixtures("stand_in")
@pytest.mark.parametrize("status", [0, 1, 2])
def test_a_command_gives_its_status_its_value_and_its_sentences(tmp_path: Path, status: int) -> None:
    told: list[str] = []
    result = asyncio.run(run_command([str(status), "--x; rm"], tmp_path, told.append))
    assert (result.status, result.value) == (status, {"words": [str(status), "--x; rm"]})
    assert told == list(result.sentences) == ["one step", "another step"]
    assert result.sentence == "another step"


def test_a_real_command_runs_in_the_folder(tmp_path: Path) -> None:
    result = asyncio.run(run_command(["kit", "check", "nothing.toml", "--json"], tmp_path))
    assert result.status == 2
    assert result.value is None
    assert "nothing.toml" in result.sentence


def test_work_that_is_asked_for_again_ends_the_one_before(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    waits = "import sys, time; print('waiting', file=sys.stderr, flush=True); time.sleep(99)"
    monkeypatch.setattr(work, "COMMAND", (sys.executable, "-c", waits))

    async def story() -> None:
        jobs = Jobs(tmp_path)
        first = jobs.begin("Draw", "plan", ["x"])
        states = jobs.states()
        while (await anext(states))[0]["line"] != "waiting":
            pass
        second = jobs.begin("Draw", "plan", ["x"])
        other = jobs.begin("Draw", "another plan", ["x"])
        assert first.task is not None
        await asyncio.gather(first.task, return_exceptions=True)
        assert first.result is not None
        assert first.result.sentence == "Stopped."
        assert second.result is None
        assert other.result is None
        await jobs.end()
        assert all(state["ended"] for state in await anext(states))

    asyncio.run(story())


@pytest.mark.usefixtures("stand_in")
def test_only_the_latest_work_is_remembered(tmp_path: Path) -> None:
    async def story() -> list[int]:
        jobs = Jobs(tmp_path)
        for number in range(work.LINES_KEPT + 3):
            job = jobs.begin("Read", str(number), ["0"])
            assert job.task is not None
            await job.task
        return [state["number"] for state in await anext(jobs.states())]

    numbers = asyncio.run(story())
    assert numbers == sorted(numbers, reverse=True)
    assert len(numbers) == work.LINES_KEPT
