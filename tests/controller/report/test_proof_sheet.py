"""The proof sheet: one page that stands alone, with every frame and link and a sign for each verdict."""

from __future__ import annotations

import base64
import io
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from scipy.ndimage import binary_erosion

from controller.errors import InputError, StorageFailed
from controller.inspection.head_measured import Measured
from controller.inspection.inspected import FrameFault, Inspected, InspectedFrame, LinkVerdict
from controller.inspection.sphere_grid import SphereGrid, whole_sphere, window
from controller.inspection.unrolled import NOTHING, unrolled, wanted
from controller.picture_file import Coloured
from controller.planning.request import RegionKind, Request
from controller.report.own_pages import is_own_page, is_own_sphere
from controller.report.proof_outlines import arc, path
from controller.report.proof_sheet import OWN_FILES, write_proof_sheet
from controller.report.proof_signs import FRAME_SIGNS, LINK_SIGNS, DrawnSign, FrameState, state_of
from controller.report.proof_words import frames_named, with_uncertainty
from tests.controller.inspection.inspected_sets import VERDICTS, blemished, inspected_of, pictures, plan_of
from tests.controller.report.looks import TOKENS, contrast
from tests.controller.report.test_html import Strict

FAULTS = {2: FrameFault.NO_PICTURE, 5: FrameFault.SOFT, 9: FrameFault.TURNED}
WINDOW = Request(region=RegionKind.WINDOW, pitch_from_deg=-20, pitch_to_deg=30, yaw_from_deg=150, yaw_to_deg=250)


def spoilt() -> Inspected:
    """A set with every verdict and every state, and texts that must not become markup."""
    whole = inspected_of(plan_of(14.0), 120, verdict=lambda number: VERDICTS[number % len(VERDICTS)])
    found = blemished(whole, FAULTS)
    frames = list(found.frames)
    frames[0] = replace(frames[0], alone=True)
    bright = blemished(whole, {7: FrameFault.BRIGHTNESS}, retake=False).frames[7]
    frames[7] = replace(bright, file="<b>IMG</b>.JPG")
    return replace(found, frames=frames, notes=["</script><script>alert(1)</script> is in no session."])


@pytest.fixture(scope="module")
def inspected() -> Inspected:
    return spoilt()


@pytest.fixture(scope="module")
def folder(inspected: Inspected, tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("proof")
    write_proof_sheet(inspected, place, place, width=360, read=pictures(inspected))
    return place


@pytest.fixture(scope="module")
def text(folder: Path) -> str:
    return (folder / "proof.html").read_text(encoding="utf-8")


def parsed(text: str) -> Strict:
    page = Strict()
    page.feed(text)
    page.close()
    assert page.open == []
    return page


def data_in(text: str) -> dict[str, Any]:
    found = re.search(r'<script type="application/json" id="data">(.*)</script>', text)
    assert found is not None
    return dict(json.loads(found[1]))


def test_the_page_is_well_formed_and_stands_alone(text: str) -> None:
    page = parsed(text)
    assert text.startswith("<!doctype html>")
    assert not {"link", "iframe", "object"} & set(page.tags)
    for name, value in page.attributes:
        if name in {"src", "href", "xlink:href", "action"}:
            assert value.startswith("data:image/jpeg;base64,"), (name, value[:50])
    assert not re.search(r"https?:|://|//www|@import|\bfetch\(|XMLHttp|WebSocket", text, re.IGNORECASE)
    assert not re.search(r"url\((?!#)", text)
    assert "default-src 'none'" in dict(page.attributes).values() or "default-src 'none'" in text


def test_texts_from_files_stay_texts(text: str) -> None:
    page = parsed(text)
    assert page.tags.count("script") == 3  # the switch of looks, the data, and what shows them
    assert "</script><script>alert(1)</script> is in no session." in page.text
    assert "<b>IMG</b>.JPG" in page.text
    assert data_in(text)["frames"][7]["lines"][0] == ["file", "<b>IMG</b>.JPG"]


def test_every_frame_and_link_is_in_it(inspected: Inspected, text: str) -> None:
    page, data = parsed(text), data_in(text)
    values = [value for name, value in page.attributes if name == "data-frame"]
    for key, frame in enumerate(inspected.frames):
        assert str(key) in values
        assert f'data-outline="{key}"' in text
        assert f'data-mark="{key}"' in text
        assert data["frames"][key]["id"] == frame.frame
        assert data["frames"][key]["blemishes"] == [blemish.sentence for blemish in frame.blemishes]
        assert bool(data["frames"][key]["picture"]) == (frame.file is not None)
    assert len(data["links"]) == len(inspected.links)
    for link, (first, second, sign, _, sentence) in zip(inspected.links, data["links"], strict=True):
        assert inspected.frames[first].frame == link.first
        assert inspected.frames[second].frame == link.second
        assert sign == LINK_SIGNS[link.verdict].sign
        assert sentence == link.sentence
        assert f"<td>{link.first}–{link.second}</td>" in text
    assert text.count("<title>frames ") == len(inspected.links)
    for key in range(len(inspected.frames)):
        own = [number for number, ends in enumerate(data["links"]) if key in ends[:2]]
        assert data["frames"][key]["links"] == own


def test_what_to_do_comes_first_and_leads_to_its_frame(inspected: Inspected, text: str) -> None:
    places = [text.index(sentence) for sentence in inspected.todo]
    assert places == sorted(places)
    assert places[-1] < text.index('id="view"')
    for sentence, frame in zip(inspected.todo, inspected.retake, strict=True):
        key = [each.frame for each in inspected.frames].index(frame)
        item = text[text.index(sentence) :].split("</li>", maxsplit=1)[0]
        assert f'data-frame="{key}"' in item
    assert f"Shoot {len(FAULTS)} frames again before packing up" in text


@pytest.mark.parametrize(("signs", "kinds"), [(LINK_SIGNS, LinkVerdict), (FRAME_SIGNS, FrameState)])
def test_every_verdict_has_a_sign_a_line_and_a_colour_of_its_own(
    signs: dict[Any, DrawnSign], kinds: Any, text: str
) -> None:
    assert list(signs) == list(kinds)  # worst first, and none is missing
    for part in ("word", "sign", "dashes", "colour", "meaning"):
        assert len({getattr(sign, part) for sign in signs.values()}) == len(signs), part
    assert sum(not sign.sign for sign in signs.values()) <= 1  # only a sound frame has none
    for sign in signs.values():
        assert sign.meaning in text
        assert f"stroke: {sign.colour}; stroke-width: {sign.width}; stroke-dasharray: {sign.dashes};" in text


def test_signs_can_be_read_on_the_ground_of_pictures() -> None:
    """A contrast of 4.5 to 1 (WCAG 2.2, success criterion 1.4.3), in the looks that show their colours."""
    for look in ("dark", "light"):
        for sign in (*LINK_SIGNS.values(), *FRAME_SIGNS.values()):
            assert contrast(sign.colour, TOKENS[look]["deep"]) >= 4.5


def test_all_that_can_be_operated_has_a_name(text: str) -> None:
    """Buttons have words or a label, images a text, and nothing needs a pointer."""
    for attributes, words in re.findall(r"<button([^>]*)>(.*?)</button>", text):
        assert re.search(r"\w", words) or "aria-label=" in attributes
    assert re.search(r'<div id="view" tabindex="0" role="group" aria-label="[^"]*Arrow keys move', text)
    assert re.search(r'<svg id="sphere"[^>]*role="img" aria-label="', text)
    for field in re.findall(r"<input[^>]*>", text):
        assert re.search(rf"<label>{re.escape(field)} \w+</label>", text)
    for wanted_key in ("ArrowLeft", "ArrowUp", '"+"', '"-"', "Enter"):
        assert wanted_key in text


def test_the_jpeg_is_the_sphere_with_stripes_only_where_nothing_is(inspected: Inspected, tmp_path: Path) -> None:
    short = blemished(inspected, dict.fromkeys((1, 2, 3, 4), FrameFault.NO_PICTURE))
    write_proof_sheet(short, tmp_path, tmp_path, width=360, read=pictures(short))
    picture = Image.open(tmp_path / "sphere.jpg")
    assert picture.size == (360, 180)
    drawn = unrolled(short, pictures(short), 360)
    there = drawn.owner != NOTHING
    shown = np.asarray(picture.convert("RGB")).astype(int)
    assert np.abs(shown - drawn.colours)[there].mean() < 3
    gap = binary_erosion(~there, iterations=8)  # away from its edge, which a JPEG blurs
    assert gap.sum() > 200
    assert shown[gap].min() > 60  # told apart from black
    assert shown[gap].max() < 160
    assert shown[gap].std() > 15


def test_a_window_has_its_own_page_and_is_black_outside_in_the_jpeg(tmp_path: Path) -> None:
    inspected = inspected_of(plan_of(20.0, WINDOW), 150)
    write_proof_sheet(inspected, tmp_path, tmp_path, width=360, read=pictures(inspected))
    found = np.asarray(Image.open(tmp_path / "sphere.jpg").convert("L"))
    assert found.shape == (180, 360)
    grid = whole_sphere(360)
    assert found[:, 105:295].max() < 12  # yaw -75 to 115: black
    assert (found[wanted(grid, inspected)] > 12).mean() > 0.95
    page = (tmp_path / "proof.html").read_text(encoding="utf-8")
    wide, high = (int(side) for side in re.findall(r'<svg id="sphere" viewBox="0 0 (\d+) (\d+)"', page)[0])
    assert wide / high < 1.9
    embedded = re.search(r'<image href="data:image/jpeg;base64,([^"]+)"', page)
    assert embedded is not None
    assert Image.open(io.BytesIO(base64.b64decode(embedded[1]))).size == (wide, high)


def test_files_of_ours_are_replaced_and_others_are_not(inspected: Inspected, folder: Path, tmp_path: Path) -> None:
    assert is_own_page(folder / "proof.html")
    assert is_own_sphere(folder / "sphere.jpg")
    small = replace(inspected, frames=inspected.frames[:1], links=[], todo=[], retake=[])
    read = pictures(small)
    written = write_proof_sheet(small, tmp_path, tmp_path, width=60, read=read)
    assert [file.name for file in written] == list(OWN_FILES)
    with pytest.raises(StorageFailed):
        write_proof_sheet(small, tmp_path, tmp_path, width=60, read=read)
    write_proof_sheet(small, tmp_path, tmp_path, width=60, read=read, replace=True)
    Image.new("RGB", (64, 32)).save(tmp_path / "mine.jpg")
    (tmp_path / "mine.jpg").replace(tmp_path / "sphere.jpg")
    with pytest.raises(StorageFailed):
        write_proof_sheet(small, tmp_path, tmp_path, width=60, read=read, replace=True)


def test_a_picture_that_cannot_be_read_is_named_and_missing(inspected: Inspected, tmp_path: Path) -> None:
    steps: list[int] = []

    def read(frame: InspectedFrame, share: float) -> Coloured:
        if frame.frame == inspected.frames[4].frame:
            raise InputError("IMG_0004.JPG: is gone. Look at the card.")
        return pictures(inspected)(frame, share)

    write_proof_sheet(inspected, tmp_path, tmp_path, lambda: steps.append(1), width=90, read=read)
    assert len(steps) == len(inspected.frames)
    text = (tmp_path / "proof.html").read_text(encoding="utf-8")
    frame = data_in(text)["frames"][4]
    assert frame["word"] == FRAME_SIGNS[FrameState.MISSING].word
    assert not frame["picture"]
    assert text.count("IMG_0004.JPG: is gone. Look at the card.") >= 2


def test_later_passes_are_on_the_page_and_only_one_is_drawn(inspected: Inspected, tmp_path: Path) -> None:
    old = inspected.frames[3:5]
    again = [replace(frame, frame=100 + frame.frame, repeats=frame.frame, pass_number=2) for frame in old]
    links = [*inspected.links, replace(inspected.links[0], first=old[0].frame, second=again[0].frame)]
    both = replace(inspected, frames=[*inspected.frames, *again], links=links)
    write_proof_sheet(both, tmp_path, tmp_path, width=90, read=pictures(both), passes={old[0].frame: 2})
    text = (tmp_path / "proof.html").read_text(encoding="utf-8")
    frames = data_in(text)["frames"]
    assert [frame["drawn"] for frame in frames] == [key not in {3, len(frames) - 1} for key in range(len(frames))]
    assert frames[-1]["name"] == f"{again[1].frame}, pass 2"
    assert all(f'data-frame="{key}"' in text for key in range(len(frames)))
    assert f"<td>{old[0].frame}–{again[0].frame}</td>" in text
    lines = [link for link in links if old[0].frame not in {link.first, link.second}]
    assert text.count("<title>frames ") == len(lines)  # the frame of the first pass is not drawn


def test_the_same_set_gives_the_same_bytes(inspected: Inspected, folder: Path, tmp_path: Path) -> None:
    write_proof_sheet(inspected, tmp_path, tmp_path, width=360, read=pictures(inspected))
    for name in OWN_FILES:
        assert (tmp_path / name).read_bytes() == (folder / name).read_bytes()


@given(
    st.sampled_from([whole_sphere(720), window((100.0, 220.0), (-60.0, 90.0), 300, 99.0)]),
    st.floats(-180, 180),
    st.floats(-89, 89),
    st.floats(-180, 180),
    st.floats(-89, 89),
)
def test_lines_break_at_the_seam_and_nowhere_else(
    grid: SphereGrid, yaw: float, pitch: float, other: float, up: float
) -> None:
    """No stroke crosses the drawing: each is as short as the step of the arc allows."""
    ends = np.radians([[yaw, pitch], [other, up]])
    one, two = (np.array([np.cos(b) * np.sin(a), -np.sin(b), np.cos(b) * np.cos(a)]) for a, b in ends)
    line = arc(one, two)
    assert np.allclose(np.linalg.norm(line, axis=1), 1)
    text = path(grid, line)
    parts = [[tuple(map(float, point.split())) for point in part.split("L")] for part in text.split("M")[1:]]
    assert len(parts) <= 3
    for part in parts:
        x = np.array([point[0] for point in part])
        assert (np.abs(np.diff(x)) <= grid.turn_px / 2 + 0.2).all()
    places = grid.places(line[[0, -1]])
    assert np.allclose(parts[0][0], places[0], atol=0.06)
    assert np.allclose(parts[-1][-1], places[-1], atol=0.06)


@given(st.floats(-1e4, 1e4), st.floats(1e-6, 1e3))
def test_a_value_has_two_figures_of_its_uncertainty(value: float, sd: float) -> None:
    words = with_uncertainty(Measured(value, sd))
    shown, spread = (float(part) for part in words.replace("°", "").split(" ± "))
    assert spread == pytest.approx(sd, rel=0.051)
    assert abs(shown - value) <= 0.051 * sd + 0.5 * (sd >= 10)
    assert not re.match(r"-0(\.0*)?°", words)


def test_frames_are_found_in_sentences() -> None:
    known = range(30)
    assert frames_named("Shoot frames 3, 7 and 12 again.", known) == [3, 7, 12]
    assert frames_named("Frame 4 is 0.40 EV brighter than frame 5; frame 99 is not known.", known) == [4, 5]
    assert frames_named("Shoot 3 frames again, at 24 mm.", known) == []
    assert frames_named("Look at frames 1, 2, and 3.", known) == [1, 2, 3]


@pytest.mark.parametrize("fault", list(FrameFault))
def test_every_fault_has_a_state(fault: FrameFault, inspected: Inspected) -> None:
    sound = replace(inspected.frames[1], blemishes=(), alone=False)
    assert state_of(sound) is FrameState.SOUND
    whole = replace(inspected, frames=[sound])
    gone = fault in {FrameFault.NO_PICTURE, FrameFault.UNREADABLE}
    again = state_of(blemished(whole, {0: fault}).frames[0])
    assert again is (FrameState.MISSING if gone else FrameState.RETAKE)
    only = state_of(blemished(whole, {0: fault}, retake=False).frames[0])
    assert only is (FrameState.MISSING if gone else FrameState.LOOK)
