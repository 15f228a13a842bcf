"""All links of a set: each picture once, reduced or not, portrait or not."""

from __future__ import annotations

import math
import threading
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from controller.errors import InputError
from controller.inspection.linking import Sized, find_all, read_sized
from controller.inspection.points import LinkReason
from sim.scene.photograph import CameraName, ExposureMoment, save_photograph
from tests.controller.inspection.rendered import Rig, errors_px, photograph

RIG = Rig()
AIMS = [(yaw, 0.0, 0.0) for yaw in (0.0, 36.0, 72.0, 180.0)]
PAIRS = [(0, 1), (2, 1), (0, 3), (1, 0)]
CAMERA = CameraName("Imagined", "Box One", None, "Pinhole 24mm", 24.0, 24, 8.0)
MOMENT = ExposureMoment(datetime(2026, 6, 21, 9, 0, 4, tzinfo=UTC), 0.0125, 0.0)


def test_each_picture_is_read_once_and_only_if_a_link_needs_it() -> None:
    read: list[int] = []

    def source(frame: int, share: float) -> Sized:
        assert 0 < share <= 1
        read.append(frame)
        return Sized(photograph(RIG, AIMS[frame], seed=frame), 1.0)

    views = [RIG.view(aim) for aim in AIMS]
    findings = dict(find_all(views, PAIRS[:3], source))
    assert sorted(read) == [0, 1, 2]
    assert {pair: finding.reason for pair, finding in findings.items()} == {
        (0, 1): LinkReason.FOUND,
        (2, 1): LinkReason.FOUND,
        (0, 3): LinkReason.NOTHING_COMMON,
    }
    for pair in ((0, 1), (2, 1)):  # first and second as the pair has them, whichever was read first
        errors = errors_px(RIG, (AIMS[pair[0]], AIMS[pair[1]]), findings[pair])
        matches = findings[pair].matches
        assert matches.agrees.mean() > 0.9
        assert np.abs(np.median(errors, axis=0)).max() < 0.1
        assert math.sqrt((errors**2 / matches.u_px[:, np.newaxis] ** 2).mean()) < 1.6


@pytest.mark.parametrize("portrait", [False, True])
@pytest.mark.parametrize("across", [801, 802, 804, 808])
def test_a_reduced_file_gives_places_of_the_full_picture(tmp_path: Path, across: int, *, portrait: bool) -> None:
    """Files are decoded smaller, upright, and partial pixels do not shift what is found."""
    rig = Rig(across=across)
    for frame in (0, 1):
        grey = photograph(rig, AIMS[frame], seed=frame)
        path = tmp_path / f"{frame}.jpg"
        save_photograph(path, np.repeat(grey[..., np.newaxis], 3, axis=2), CAMERA, MOMENT, portrait=portrait)
    shares: list[float] = []

    def source(frame: int, share: float) -> Sized:
        sized = read_sized(tmp_path / f"{frame}.jpg", rig.size_px, share)
        shares.append(sized.share)
        return sized

    ((_, finding),) = find_all([rig.view(aim) for aim in AIMS], [(0, 1)], source, share=0.4)
    assert shares == [0.5, 0.5]
    errors = errors_px(rig, (AIMS[0], AIMS[1]), finding)[finding.matches.agrees]
    assert finding.reason is LinkReason.FOUND
    assert np.abs(np.median(errors, axis=0)).max() < 0.1
    assert math.sqrt((errors**2).mean()) < 0.5


def test_findings_are_the_same_whatever_the_number_of_threads() -> None:
    """In the same order, to the last bit."""
    pictures = [photograph(RIG, aim, seed=frame) for frame, aim in enumerate(AIMS)]
    views = [RIG.view(aim) for aim in AIMS]
    pairs = [(0, 1), (2, 1), (0, 3), (2, 3)]

    def found(threads: int) -> list[tuple[tuple[int, int], LinkReason, bytes]]:
        return [
            (pair, each.reason, each.matches.second_px.tobytes() + each.matches.u_px.tobytes())
            for pair, each in find_all(views, pairs, lambda frame, _: Sized(pictures[frame], 1.0), threads=threads)
        ]

    alone = found(1)
    assert LinkReason.FOUND in {reason for _, reason, _ in alone}
    assert found(2) == alone
    assert found(4) == alone


def test_a_picture_that_fails_ends_the_search_and_all_its_threads() -> None:
    read: list[int] = []

    def source(frame: int, _: float) -> Sized:
        read.append(frame)
        raise InputError("this card was pulled out")

    views = [RIG.view((36.0 * number, 0.0, 0.0)) for number in range(10)]
    before = threading.active_count()
    with pytest.raises(InputError, match="pulled out"):
        list(find_all(views, [(number, number + 1) for number in range(9)], source, threads=2))
    assert threading.active_count() == before
    assert len(read) <= 4
