"""Cameras and lenses as people type them, and the suggestions for a nearly correct name."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import InputError
from controller.kit.lens_data import Entry, entries
from controller.kit.other_names import other_names
from controller.kit.search import exactly, nearest, search

CAMERAS = [entry for entry in entries() if entry.kind == "camera"]
NAMES = {text.casefold() for each in CAMERAS for text in (each.name, each.model, f"{each.maker} {each.model}")}
KEYS = {(entry.maker, entry.model) for entry in CAMERAS}
OTHER = [(key, other) for key, other in other_names().items() if key in KEYS]


def first(*words: str) -> str:
    return search(words)[0].model


@pytest.mark.parametrize(
    ("words", "model"),
    [
        (["z7"], "Nikon Z 7"),
        (["Z", "7"], "Nikon Z 7"),
        (["nikon", "z-7"], "Nikon Z 7"),
        (["a7"], "ILCE-7"),
        (["α7"], "ILCE-7"),
        (["sony", "a7", "iii"], "ILCE-7M3"),
        (["A7III"], "ILCE-7M3"),
        (["ilce7m2"], "ILCE-7M2"),
        (["d750"], "Nikon D750"),
        (["xt3"], "X-T3"),
    ],
)
def test_names_as_people_type_them(words: list[str], model: str) -> None:
    """Names and other names in the open lens data itself: "Z 7", "ILCE-7" and "Alpha 7"."""
    assert first(*words) == model


def test_whole_words_go_before_parts_of_words() -> None:
    models = [entry.model for entry in search(["d750"], ("camera",))]
    assert models.index("Nikon D750") < models.index("Nikon D7500")
    lenses = [entry.model for entry in search(["f/2.8", "nikkor"], ("lens",))]
    assert all("2.8" in model for model in lenses)  # two numbers with a point between them are not one


def joined(entry: Entry) -> str:
    """A model as typed in a hurry: no spaces, no hyphens, no capitals."""
    return "".join(letter for letter in entry.model.casefold() if letter.isalnum())


@given(st.sampled_from([entry for entry in CAMERAS if all(part.isalnum() for part in entry.model.split("-"))]))
def test_a_model_without_its_hyphens_is_found_first(entry: Entry) -> None:
    found = search([joined(entry)], ("camera",))
    assert joined(found[0]) == joined(entry)


@given(
    st.sampled_from(
        [(key, other) for key, other in other_names().items() if key in {(e.maker, e.model) for e in CAMERAS}]
    )
)
def test_an_other_name_finds_its_camera_among_the_first_that_bear_it(named: tuple[tuple[str, str], str]) -> None:
    key, other = named
    bearers = [each for each, name in other_names().items() if name.casefold() == other.casefold()]
    found = [(entry.maker, entry.model) for entry in search(other.split(), ("camera",))]
    assert key in found
    assert found.index(key) < len(bearers) + sum(other.casefold() in model.casefold() for _, model in found)


@given(st.sampled_from(CAMERAS), st.randoms(use_true_random=False))
def test_a_slip_of_the_finger_is_never_taken_and_is_told_what_is_near(entry: Entry, random: object) -> None:
    """Two neighbouring letters of a camera's name are swapped."""
    name = entry.name
    at = random.randrange(len(name) - 1)  # type: ignore[attr-defined]
    slipped = name[:at] + name[at + 1] + name[at] + name[at + 2 :]
    if " ".join(slipped.casefold().split()) in NAMES:
        return
    with pytest.raises(InputError, match="Is it one of"):
        exactly("camera", slipped)
    assert nearest("camera", slipped)
