"""When a capture begins and how often."""

from contextlib import nullcontext
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from astral import Observer
from astral.sun import dawn, dusk

from controller.capture.people import People
from controller.commands import series as series_module
from controller.commands.capture import SetAccount, must_be_free_session
from controller.commands.crew import Crew
from controller.commands.series import capture_series, moment_of, series_of, when_sun_stands
from controller.errors import InputError, StorageFailed
from controller.planning.make import make_plan
from controller.report.summary import Summary, summarise
from controller.times import span_of
from tests.end_to_end.whole_runs import kit_of

NOW = datetime(2026, 6, 21, 20, 0, tzinfo=UTC)
NOTHING = dict.fromkeys(("start_at", "start_when_sun", "latitude", "longitude", "repeat", "times"))


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("21:30", NOW.replace(hour=21, minute=30)),
        ("05:30", datetime(2026, 6, 22, 5, 30, tzinfo=UTC)),  # tomorrow
        ("20:00:01", NOW.replace(second=1)),
        ("2026-06-22T05:30:00+02:00", datetime(2026, 6, 22, 3, 30, tzinfo=UTC)),
        ("2026-06-22T05:30", datetime(2026, 6, 22, 5, 30, tzinfo=UTC)),
    ],
)
def test_a_time_of_day_or_a_moment(text: str, moment: datetime) -> None:
    assert moment_of(text, NOW) == moment


@pytest.mark.parametrize("text", ["25:00", "soon", "2026-06-21T19:00:00+00:00", ""])
def test_no_such_time(text: str) -> None:
    with pytest.raises(InputError, match=r"is not a time like 05:30|--start-at .* is past"):
        moment_of(text, NOW)


@pytest.mark.parametrize(("text", "seconds"), [("90s", 90), ("15m", 900), ("1h", 3600), ("1.5h", 5400)])
def test_a_length_of_time(text: str, seconds: float) -> None:
    assert span_of(text) == timedelta(seconds=seconds)


@pytest.mark.parametrize("text", ["90", "0m", "-1h", "1d", ""])
def test_no_such_length(text: str) -> None:
    with pytest.raises(InputError, match="length of time"):
        span_of(text)


def test_the_sun_passes_six_degrees_below_at_civil_dusk_and_dawn() -> None:
    """Civil twilight ends with the sun 6 degrees below the horizon (US Naval Observatory, glossary); the library's own
    search for it is another than ours."""
    place, day = Observer(latitude=47.0, longitude=8.0), NOW.date()
    evening = when_sun_stands(-6, 47.0, 8.0, NOW - timedelta(hours=2))
    morning = when_sun_stands(-6, 47.0, 8.0, NOW + timedelta(hours=1))
    assert abs(evening - dusk(place, day, depression=6)) < timedelta(seconds=90)
    assert abs(morning - dawn(place, day + timedelta(days=1), depression=6)) < timedelta(seconds=90)


def test_a_sun_that_never_stands_so_high_is_told() -> None:
    with pytest.raises(InputError, match="does not pass 80 degrees"):
        when_sun_stands(80, 60.0, 0.0, NOW)


def test_each_repetition_has_its_own_session() -> None:
    series = series_of(Path("a/s.sqlite"), **NOTHING | {"repeat": "15m", "times": 12})
    assert [str(path) for path in series.sessions[:2]] == ["a/s-01.sqlite", "a/s-02.sqlite"]
    assert len(series.sessions) == 12
    assert series.every == timedelta(minutes=15)
    assert series_of(Path("s"), **NOTHING).sessions == (Path("s"),)


@pytest.mark.parametrize(
    "options",
    [
        {"start_at": "05:00", "start_when_sun": -6.0},
        {"repeat": "15m"},
        {"times": 3},
        {"start_when_sun": -6.0, "latitude": 47.0},
    ],
)
def test_options_that_do_not_go_together(options: dict[str, object]) -> None:
    with pytest.raises(InputError):
        series_of(Path("s"), **NOTHING | options)


def sets(ends: list[bool], monkeypatch: pytest.MonkeyPatch) -> tuple[list[Path], list[str]]:
    """Which sets of a series of three are made where each ends early or not, and what is said."""
    said: list[str] = []
    left = iter(ends)
    summary = report_of_nothing()
    monkeypatch.setattr(series_module, "capture_command", lambda *_: SetAccount(summary, next(left)))
    crew = Crew(People(said.append), lambda _: None, lambda *_: nullcontext())  # type: ignore[arg-type]
    asked = series_of(Path("s.sqlite"), **NOTHING | {"repeat": "1s", "times": 3})
    made = capture_series(Path("plan.json"), "port", replace(asked, every=timedelta()), crew, None)
    return [session for _, session in made], said


def report_of_nothing() -> Summary:
    plan = make_plan(kit_of(14.0), 0.3)
    return summarise(plan, [], kind="capture", seed=None, sentence="Over.", seconds=1.0)


def test_a_set_that_was_stopped_ends_the_series(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever stopped one reaches into the head next: nothing may begin to move by itself."""
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
