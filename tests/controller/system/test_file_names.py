"""Names that every system takes, and that the program makes no others."""

import re
from datetime import date
from pathlib import Path, PureWindowsPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import StorageFailed
from controller.files import write_whole
from controller.folders import appearing_folder
from controller.matching.sorting import _fitting
from controller.own_names import free_path, place_word, session_path
from controller.places import LONGEST_NAME
from controller.system.file_names import acceptable_name, name_trouble

# A second opinion, from another source: the names that Python's own rules for Windows refuse.
BAD_LETTERS = re.compile(r'[\x00-\x1f<>:"/\\|?*]')


def windows_takes(name: str) -> bool:
    return not (BAD_LETTERS.search(name) or PureWindowsPath(name).is_reserved() or name.endswith((" ", ".")))


NAMES = st.one_of(
    st.text(st.characters(exclude_categories=["Cs"], exclude_characters="/\0"), min_size=1, max_size=60),
    st.from_regex(r"(?i)(con|prn|aux|nul|com[1-9\u00b9]|lpt[0-9])( |\.)*(\.[a-z]{1,4})?", fullmatch=True),
    st.text("ab. :<?", min_size=1, max_size=8),
).filter(lambda name: name not in {".", ".."})


@given(NAMES)
def test_what_is_taken_here_is_taken_by_windows(name: str) -> None:
    if name_trouble(name) is None:
        assert windows_takes(name)


@given(NAMES)
def test_a_name_is_made_acceptable_and_a_good_one_is_kept(name: str) -> None:
    changed = acceptable_name(name)
    assert name_trouble(changed) is None
    assert acceptable_name(changed) == changed
    if name_trouble(name) is None:
        assert changed == name


@pytest.mark.parametrize(
    "name",
    [
        "con",
        "CON.toml",
        "aux.",
        "nul .json",
        "COM1.sqlite",
        "lpt\u00b9",
        "CONIN$",
        "a:b",
        "a?",
        "set ",
        "set.",
        "a\tb",
        "a|b",
    ],
)
def test_these_are_refused(name: str) -> None:
    assert name_trouble(name)


@pytest.mark.parametrize(
    "name", ["console.toml", "com10", "common", "plan.json", ".hidden", "\u00e9t\u00e9 2.csv", "a..b"]
)
def test_these_are_not(name: str) -> None:
    assert name_trouble(name) is None
    assert windows_takes(name)


@given(NAMES)
def test_a_sorted_file_of_a_card_has_a_name_that_travels(name: str) -> None:
    made = _fitting("frame-001_yaw+010.0_pitch+00.0_exposure-1_", name)
    assert name_trouble(made) is None
    assert len(made.encode()) <= LONGEST_NAME


@given(st.text(max_size=60))
def test_a_session_of_any_place_has_a_name_that_travels(place: str) -> None:
    made = session_path(Path("nowhere"), date(2026, 6, 21), place)
    assert name_trouble(made.name) is None
    assert name_trouble(f"{place_word(place)}x") is None
    assert name_trouble(free_path(Path("nowhere"), made.stem, ".json").name) is None


@pytest.mark.parametrize("name", ["aux.json", "a:b.json", "report.", "what?.csv"])
def test_a_new_file_or_folder_of_another_name_is_refused_with_a_sentence(name: str, tmp_path: Path) -> None:
    with pytest.raises(StorageFailed, match=r"is not made, because .*Windows.* Choose a name that every system takes"):
        write_whole(tmp_path / name, "text")
    for folder in (tmp_path / name, tmp_path / name / "inner"):
        with pytest.raises(StorageFailed, match="Choose a name that every system takes"), appearing_folder(folder):
            pass
    assert list(tmp_path.iterdir()) == []


def test_one_that_is_there_already_is_used(tmp_path: Path) -> None:
    """It came from elsewhere, so this system takes it."""
    (tmp_path / "aux.json").write_text("old")
    write_whole(tmp_path / "aux.json", "new", replace=True, ours=lambda _: True)
    assert (tmp_path / "aux.json").read_text() == "new"
    (tmp_path / "set.").mkdir()
    write_whole(tmp_path / "set." / "plan.json", "text")
