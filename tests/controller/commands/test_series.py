"""The time at which a capture begins, and repeated captures."""

from contextlib import nullcontext
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from controller.capture.people import People
from controller.commands import series as series_module
from controller.commands.capture import SetAccount
from controller.commands.crew import Crew
from controller.commands.series import capture_series
from controller.errors import StorageFailed
from controller.planning.make import make_plan
from controller.planning.series import series_of
from controller.report.summary import Summary, summarise
from controller.session.new_place import must_be_free_session
from tests.end_to_end.whole_runs import kit_of

NOW = datetime(2026, 6, 21, 20, 0, tzinfo=UTC)
NOTHING = dict.fromkeys(("start_at", "start_when_sun", "latitude", "longitude", "repeat", "times"))


def sets(ends: list[bool], monkeypatch: pytest.MonkeyPatch) -> tuple[list[Path], list[str]]:
    """The sets of a series of three that are shot if each ends early or not, and the sentences shown."""
    said: list[str] = []
    left = iter(ends)
    summary = report_of_nothing()
    monkeypatch.setattr(series_module, "capture_command", lambda *_, **__: SetAccount(summary, next(left)))
    crew = Crew(People(said.append), lambda _: None, lambda *_: nullcontext())  # type: ignore[arg-type]
    asked = series_of(Path("s.sqlite"), **NOTHING | {"repeat": "1s", "times": 3})
    made = capture_series(Path("plan.json"), "port", replace(asked, every=timedelta()), crew, None)
    return [session for _, session in made], said


def report_of_nothing() -> Summary:
    plan = make_plan(kit_of(14.0), 0.3)
    return summarise(plan, [], kind="capture", seed=None, sentence="Over.", seconds=1.0)


def test_a_set_that_was_stopped_ends_the_series(monkeypatch: pytest.MonkeyPatch) -> None:
    """The person who stopped a set may reach into the head next: nothing may begin to move by itself."""
    made, said = sets([False, True, False], monkeypatch)
    assert [path.name for path in made] == ["s-1.sqlite", "s-2.sqlite"]
    assert said[-1].startswith("The series ends here")


def test_a_set_that_went_through_does_not_end_the_series(monkeypatch: pytest.MonkeyPatch) -> None:
    made, said = sets([False, False, False], monkeypatch)
    assert len(made) == 3
    assert not [sentence for sentence in said if "ends here" in sentence]


@pytest.mark.parametrize("beside", ["-wal", "-shm", "-journal"])
def test_no_session_begins_beside_the_log_of_another(tmp_path: Path, beside: str) -> None:
    """SQLite would take it for this session's own (sqlite.org/howtocorrupt.html, section 1.4)."""
    (tmp_path / f"set.sqlite{beside}").write_bytes(b"of another")
    with pytest.raises(StorageFailed, match=f"set.sqlite{beside} exists already"):
        must_be_free_session(tmp_path / "set.sqlite")
    must_be_free_session(tmp_path / "other.sqlite")
