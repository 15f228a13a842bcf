"""Names that the program gives: free, in order, and fit for every file system."""

from datetime import date
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.own_names import LONGEST_PLACE_BYTES, free_path, place_word, session_path

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
