"""Names that the program gives: free, in order, and fit for every file system."""

from datetime import date
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.own_names import LONGEST_PLACE_BYTES, SessionName, free_path, named, place_word, session_path
from controller.planning.series import series_of

DAY = date(2026, 6, 21)
# What file systems refuse in a name (POSIX.1-2017 3.170 and, from memory, the naming rules of Windows).
REFUSED = set('<>:"/\\|?*\0')


@given(place=st.text(max_size=200))
def test_any_place_becomes_a_name_that_every_file_system_takes(place: str) -> None:
    path = session_path(Path("nowhere-at-all"), DAY, place)
    name = path.name
    assert path.parent == Path("nowhere-at-all")
    assert not REFUSED & set(name)
    assert name.isprintable()
    assert len(name.encode()) <= 255
    assert not name.startswith((".", "-"))
    assert len(place_word(place).encode()) <= LONGEST_PLACE_BYTES
    assert place_word(place_word(place)) == place_word(place)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40)
@given(places=st.lists(st.sampled_from(["", "Kestrel Ledge", "kestrel-ledge", "Kestrel", "3"]), max_size=8))
def test_every_session_gets_a_name_of_its_own(tmp_path_factory: pytest.TempPathFactory, places: list[str]) -> None:
    folder = tmp_path_factory.mktemp("names")
    for number, place in enumerate(places):
        path = session_path(folder, DAY, place)
        assert not path.exists()
        path.write_text(str(number), encoding="utf-8")
    assert len(list(folder.iterdir())) == len(places)


def test_a_number_is_not_used_again_after_a_series_or_a_gap(tmp_path: Path) -> None:
    for name in ("2026-06-21-ledge-2-1.sqlite", "2026-06-21-ledge-2-2.sqlite", "2026-06-21-ledge-7.sqlite"):
        (tmp_path / name).touch()
    assert session_path(tmp_path, DAY, "Ledge").name == "2026-06-21-ledge-8.sqlite"
    assert session_path(tmp_path, DAY).name == "2026-06-21-1.sqlite"


def test_a_free_name_is_the_plain_one_first(tmp_path: Path) -> None:
    assert free_path(tmp_path, "kit-plan", ".json").name == "kit-plan.json"
    (tmp_path / "KIT-plan.JSON").touch()  # on some file systems this is the same name
    assert free_path(tmp_path, "kit-plan", ".json").name == "kit-plan-2.json"


PLACES = st.one_of(st.text(max_size=60), st.from_regex(r"[a-z0-9 -]{0,12}[ -]?[0-9]{0,8}", fullmatch=True))


@given(day=st.dates(), place=PLACES, times=st.one_of(st.none(), st.integers(2, 12)))
def test_a_name_says_what_it_was_made_of(day: date, place: str, times: int | None) -> None:
    path = session_path(Path("nowhere-at-all"), day, place)
    assert named(path) == SessionName(day, place_word(place), 1)
    series = series_of(path, start_at=None, start_when_sun=None, latitude=None, longitude=None, repeat="1s", times=times)
    for part, one in enumerate(series.sessions, 1):
        assert named(one) == SessionName(day, place_word(place), 1, None if times is None else part)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40)
@given(place=PLACES)
def test_the_next_session_of_a_place_has_the_next_number(tmp_path_factory: pytest.TempPathFactory, place: str) -> None:
    folder = tmp_path_factory.mktemp("numbers")
    for number in (1, 2, 3):
        path = session_path(folder, DAY, place)
        assert named(path) == SessionName(DAY, place_word(place), number)
        path.touch()


@given(name=st.one_of(st.text(max_size=40), st.from_regex(r"20[0-9]{2}-[01][0-9]-[0-3][0-9](-[a-z0-9]{1,3}){0,4}")))
def test_any_other_name_says_nothing_or_what_it_would_be_made_of(name: str) -> None:
    """Names come from people too: none may fail, and none may be read as a place that the program never writes."""
    found = named(Path(f"x{name.replace(chr(0), '')}.sqlite".removeprefix("x")))
    if found is not None:
        assert found.place == place_word(found.place)
        assert found.number > 0


@pytest.mark.parametrize(
    "name",
    ["set", "2026-06-21", "2026-02-30-1", "2026-06-21-0", "2026-06-21-Ledge-1", "2026-06-21--1", "2026-06-21-1234567"],
)
def test_a_name_given_by_hand_says_nothing(name: str) -> None:
    assert named(Path(f"{name}.sqlite")) is None
    assert named(Path("2026-06-21-1.json")) is None
