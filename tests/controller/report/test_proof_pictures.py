"""The size of a proof sheet is bounded, whatever the pictures are."""

from __future__ import annotations

import base64
import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from controller.inspection.inspected import InspectedFrame
from controller.picture_file import Coloured
from controller.report.proof_pictures import (
    BASE64,
    LONGEST_PX,
    MOST_PAGE_BYTES,
    SHORTEST_PX,
    SPHERE_BYTES,
    data_address,
    first_side,
    preview_budget,
    within_bytes,
)
from controller.report.proof_sheet import write_proof_sheet
from tests.controller.inspection.inspected_sets import inspected_of, plan_of

NOISE = Image.fromarray(np.random.default_rng(1).integers(0, 256, (600, 400, 3), dtype=np.uint8))


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 150_000), st.integers(1, 1000))
def test_a_preview_keeps_its_bound_or_is_left_out(most_bytes: int, longest_px: int) -> None:
    content = within_bytes(NOISE, longest_px, most_bytes)
    if content is None:
        smallest = within_bytes(NOISE, SHORTEST_PX, 10**9)
        assert smallest is not None
        assert most_bytes < len(smallest)
        return
    assert len(content) <= most_bytes
    size = Image.open(io.BytesIO(content)).size
    assert max(size) <= max(longest_px, 1)
    assert size[0] / size[1] == pytest.approx(400 / 600, rel=0.02) or max(size) < 60


@given(st.integers(0, 6000), st.integers(0, 30_000))
def test_pictures_and_text_fit_into_the_page(frames: int, links: int) -> None:
    budget = preview_budget(frames, links)
    assert budget >= 0
    if budget:
        assert (budget + SPHERE_BYTES) * BASE64 < MOST_PAGE_BYTES
    assert preview_budget(frames + 1, links) <= budget


@given(st.floats(0, 1e7), st.sampled_from([(4000, 6000), (6000, 4000), (3000, 3000)]))
def test_previews_are_as_large_as_their_share_allows(share_bytes: float, size_px: tuple[int, int]) -> None:
    assert SHORTEST_PX <= first_side(share_bytes, size_px) <= LONGEST_PX
    assert first_side(share_bytes, size_px) <= first_side(2 * share_bytes, size_px)


def test_an_address_holds_the_whole_file() -> None:
    content = within_bytes(NOISE, 200, 10**6)
    assert content is not None
    head, text = data_address(content).split(",")
    assert head == "data:image/jpeg;base64"
    assert base64.b64decode(text, validate=True) == content


def test_a_page_of_many_frames_full_of_detail_stays_below_its_bound(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The bound is lowered, so that few small frames press against it as hundreds of large ones would."""
    most = 900_000
    for name, value in (("MOST_PAGE_BYTES", most), ("SPHERE_BYTES", 100_000), ("TEXT_BYTES", 60_000)):
        monkeypatch.setattr(f"controller.report.proof_pictures.{name}", value)
    one = inspected_of(plan_of(14.0), 400)
    # Far more entries than frames: all passes have previews.
    frames = [replace(frame, pass_number=number) for number in range(6) for frame in one.frames]
    asked: list[float] = []

    def read(frame: InspectedFrame, share: float) -> Coloured:
        asked.append(share)
        return Coloured(NOISE, 1.0)

    write_proof_sheet(replace(one, frames=frames), tmp_path, tmp_path, width=256, read=read)
    size = (tmp_path / "proof.html").stat().st_size
    assert size <= most
    assert size > 0.3 * most
    text = (tmp_path / "proof.html").read_text(encoding="utf-8")
    assert text.count('"picture":"data:image') > 0.9 * len(frames)
    assert max(asked) <= 1
