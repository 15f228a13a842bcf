"""Where files may be written: what is there is kept, and a place that cannot be is refused before any work."""

from __future__ import annotations

import os
import string
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.errors import StorageFailed
from controller.places import must_be_free


def refusal(path: Path, **more: object) -> str:
    with pytest.raises(StorageFailed) as refused:
        must_be_free(path, **more)  # type: ignore[arg-type]
    assert str(refused.value).endswith(".")
    return str(refused.value)


def test_a_free_place_stays_free(tmp_path: Path) -> None:
    must_be_free(tmp_path / "plan.json")
    must_be_free(tmp_path / "plan.json", replace=True, ours=lambda _: True)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("place", ["taken", "folder", "dangling", "no/folder/here", "taken/below"])
def test_a_place_that_is_not_free_is_kept(tmp_path: Path, place: str) -> None:
    """Without being asked to, nothing is replaced; a folder, or what others wrote, is not even then."""
    (tmp_path / "taken").write_bytes(b"somebody's")
    (tmp_path / "folder").mkdir()
    (tmp_path / "dangling").symlink_to("nowhere")
    refusal(tmp_path / place)
    refusal(tmp_path / place, ours=lambda _: True)
    refusal(tmp_path / place, replace=True)
    refusal(tmp_path / place, replace=True, ours=lambda _: False)
    assert (tmp_path / "taken").read_bytes() == b"somebody's"
    assert sorted(os.listdir(tmp_path)) == ["dangling", "folder", "taken"]


def test_only_a_file_of_the_same_kind_is_replaced_and_only_when_asked(tmp_path: Path) -> None:
    path = tmp_path / "plan.json"
    path.write_text("a plan", encoding="utf-8")
    must_be_free(path, replace=True, ours=lambda there: there.read_text(encoding="utf-8") == "a plan")
    assert "Add --replace" in refusal(path, ours=lambda _: True)
    assert "Add --replace" not in refusal(path, ours=lambda _: False)


@pytest.mark.parametrize(
    "name", ["", ".", "..", "/", "a\0b", "x" * 300, "ü" * 128, "x" * 256, "/".join(["x" * 200] * 30)]
)
def test_no_name_and_names_that_are_too_long(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """A name may have 255 bytes (NAME_MAX of POSIX limits.h on the usual file systems)."""
    monkeypatch.chdir(tmp_path)
    assert len(refusal(Path(name))) < 200
    assert list(tmp_path.iterdir()) == []


@given(name=st.text(string.printable + "üß°\0", max_size=300))
@settings(max_examples=200)
def test_whatever_is_called_free_can_be_written(tmp_path_factory: pytest.TempPathFactory, name: str) -> None:
    """And whatever is not ends in one sentence, never in a traceback."""
    folder = tmp_path_factory.getbasetemp() / "any"
    folder.mkdir(exist_ok=True)
    path = folder / name.lstrip("/").replace("..", "")
    try:
        must_be_free(path)
    except StorageFailed:
        return
    path.write_text("a plan", encoding="utf-8")
    path.unlink()
