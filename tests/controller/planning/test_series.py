"""When the sets of a series begin, and in which sessions they are kept."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from astral import Observer
from astral.sun import dawn, dusk

from controller.errors import InputError
from controller.planning.series import moment_of, series_of, when_sun_stands
from controller.times import span_of

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
