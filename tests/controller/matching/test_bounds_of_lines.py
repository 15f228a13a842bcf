"""Where names, times and lines of a card are judged differently, and where they are not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path, PurePosixPath
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.matching.card import CUT_SHORT, CardFile
from controller.matching.evidence import ExposureStamp, FileStamp, evidence_of, same_shutter, tick_of
from controller.matching.pairing import Match
from controller.matching.sequence import order_of
from controller.matching.sorting import placed, unfit
from controller.matching.table import MatchLine, MatchVerdict, Planned, frames_to_retake, match_lines
from controller.planning.plan import Frame
from tests.controller.matching.test_table import FOLDER, FRAMES, pairing, planned, used

# Clocks and shutter times as they are written.


@given(st.floats(1e-4, 30), st.floats(0.5, 2))
def test_two_shutter_times_are_one_within_three_tenths(shutter_s: float, ratio: float) -> None:
    if abs(max(ratio, 1 / ratio) - 1.3) > 1e-9:
        assert same_shutter(shutter_s, shutter_s * ratio) is (max(ratio, 1 / ratio) < 1.3)


@given(st.sampled_from([1.0, 0.1, 0.01, 0.001]), st.lists(st.integers(0, 10**6), min_size=40, max_size=60, unique=True))
def test_a_tick_is_the_coarsest_that_all_times_are_written_in(tick_s: float, counts: list[int]) -> None:
    at = np.array([1.7e9, 1.7e9 + tick_s, 1.7e9 + 3 * tick_s, *(1.7e9 + np.array(counts) * tick_s)])
    assert tick_of(np.round(at, 3)) == tick_s


@given(st.lists(st.sampled_from([(True, True), (True, False), (False, False), (False, True)]), min_size=1, max_size=8))
def test_what_counts_is_counted_along_the_run(kinds: list[tuple[bool, bool]]) -> None:
    exposures = [ExposureStamp(float(n), 0.1, made, confirmed) for n, (made, confirmed) in enumerate(kinds)]
    evidence = evidence_of([FileStamp(0.0)], exposures)
    for upto in range(len(kinds) + 1):
        assert evidence.made_before[upto] == sum(made for made, _ in kinds[:upto])
        assert evidence.sure_before[upto] == sum(made and confirmed for made, confirmed in kinds[:upto])


def test_kinds_tell_which_exposures_a_file_may_be_by_its_shutter_time() -> None:
    shutters = [0.01, 1.0, 0.01, 1.0]
    exposures = [ExposureStamp(float(n), shutter) for n, shutter in enumerate(shutters)]
    files = [FileStamp(0.0, 0.01), FileStamp(1.0, 1.0), FileStamp(2.0), FileStamp(3.0, 30.0)]
    evidence = evidence_of(files, exposures)
    may = {int(file): allowed.tolist() for mine, allowed in evidence.kinds for file in mine}
    assert may == {0: [0, 2], 1: [1, 3], 2: [0, 1, 2, 3], 3: []}
    blind = evidence.without_shutters()
    assert blind.usual.all()
    assert not blind.alike.any()
    assert [allowed.tolist() for _, allowed in blind.kinds] == [[0, 1, 2, 3]]


# The order of shooting.


def test_files_with_numbers_in_a_row_come_in_their_order_whatever_their_times() -> None:
    numbers: list[int | None] = list(range(100, 120))
    times = np.arange(20.0) * 10
    times[10:] -= 5000  # set back once
    order = order_of(times, numbers)
    assert order.files.tolist() == list(range(20))
    assert order.gaps.tolist() == [-1] + [0] * 19
    assert order.numbered
    assert order.room.all()


@pytest.mark.parametrize(("left_out", "one_block"), [(0, True), (39, True), (40, False), (500, False)])
def test_a_block_ends_where_many_numbers_are_left_out(left_out: int, one_block: bool) -> None:
    numbers: list[int | None] = [*range(1, 11), *range(11 + left_out, 21 + left_out)]
    order = order_of(np.arange(20.0), numbers)
    assert order.files.tolist() == list(range(20))
    assert order.gaps[10] == (left_out if one_block else -1)


@pytest.mark.parametrize(("share", "numbered"), [(0.9, True), (0.7, False)])
def test_numbers_that_fit_no_order_say_nothing(share: float, numbered: bool) -> None:
    """From a fifth of them on."""
    count = 40
    strange = round(count * (1 - share))
    numbers: list[int | None] = [*range(1, count - strange + 1), *(5000 + 97 * n for n in range(strange))]
    assert order_of(np.arange(float(count)), numbers).numbered is numbered


@pytest.mark.parametrize(("off_s", "stays"), [(25.0, True), (-25.0, True), (45.0, False), (-45.0, False)])
def test_a_number_far_out_of_its_time_is_from_elsewhere(off_s: float, stays: bool) -> None:
    """By half a minute: nearer, the clock may have been set back."""
    times = np.arange(20.0) * 4
    times[9] += off_s
    numbers: list[int | None] = [*range(1, 21)]
    order = order_of(times, numbers)
    assert (order.files.tolist() == list(range(20))) is stays
    if not stays:
        at = times[order.files]
        place = order.files.tolist().index(9)
        assert place == 0 or at[place - 1] <= at[place]
        assert order.gaps[place] == -1


@given(st.integers(1, 12), st.integers(0, 3))
def test_a_file_without_a_number_has_room_only_where_one_is_left_out(place: int, left_out: int) -> None:
    numbers: list[int | None] = [n + 1 + (left_out if n >= place else 0) for n in range(14)]
    times = [10.0 * n for n in range(14)]
    numbers.append(None)
    times.append(10.0 * place - 5)
    order = order_of(np.array(times), numbers)
    at = order.files.tolist().index(14)
    assert at == place
    assert order.room[at] == (left_out > 0)
    assert order.gaps[at] == order.gaps[at + 1] == -1


@given(st.lists(st.floats(0, 100), min_size=2, max_size=12, unique=True))
def test_files_without_numbers_go_by_time_or_by_the_times_given(times: list[float]) -> None:
    at, none = np.array(times), [None] * len(times)
    assert order_of(at, none).files.tolist() == np.argsort(at).tolist()
    assert order_of(at, none, -at).files.tolist() == np.argsort(-at).tolist()
    assert not order_of(at, none).numbered


@pytest.mark.parametrize("named", [True, False])
def test_files_of_one_tick_are_tied_unless_all_have_their_number(named: bool) -> None:
    numbers: list[int | None] = [1, 2, 3, 4 if named else None, 5, 6]
    tied = order_of(np.array([0.0, 1.0, 2.0, 2.0, 3.0, 4.0]), numbers).tied
    assert tied.tolist() == ([-1] * 6 if named else [-1, -1, 2, 2, -1, -1])


# Lines.


def one_file(**values: Any) -> CardFile:
    return replace(CardFile((FOLDER / "a.JPG",), "One", 5.0, False, 0.01, None), **values)


@pytest.mark.parametrize(("zone", "taken"), [(True, "1970-01-01T00:00:05.250+00:00"), (False, "1970-01-01T00:00:05.250")])
def test_a_moment_names_its_zone_only_if_the_file_does(zone: bool, taken: str) -> None:
    (line,) = match_lines(
        [one_file(taken_s=5.25, has_zone=zone)], pairing((Match(0, 0.0),), 1), [planned(0, 0, 1, "confirmed")], FOLDER
    )
    assert line.taken == taken
    assert line.apart_s == pytest.approx(5.255)  # the middle of a tick of a hundredth, from the exposure at 0


def test_a_file_that_is_nobodys_says_what_it_might_be() -> None:
    exposures = [planned(3, 1, 1, "confirmed"), planned(4, 0, 1, "confirmed")]
    matches = (Match(None, 0.3, maybe=1), Match(None, 0.0))
    found = match_lines([one_file(), one_file(taken_s=6.0)], pairing(matches, 2), exposures, FOLDER)
    by_verdict = {verdict: [line for line in found if line.verdict is verdict] for verdict in MatchVerdict}
    assert [len(lines) for lines in by_verdict.values()] == [0, 1, 2, 1]
    assert by_verdict[MatchVerdict.DOUBTFUL][0].notes == ["might be frame 4, exposure 0"]
    assert by_verdict[MatchVerdict.EXTRA][0].notes == []
    assert by_verdict[MatchVerdict.DOUBTFUL][0].doubt == 0.3


def test_missing_exposures_stand_where_they_were_shot() -> None:
    exposures = [planned(n, 0, 1, "confirmed") for n in range(5)]
    matches = tuple(Match(n, 0.0) for n in (1, 3))
    found = match_lines([one_file(), one_file(taken_s=6.0)], pairing(matches, 5), exposures, FOLDER)
    assert [(line.frame, line.verdict) for line in found] == [
        (0, "missing"), (1, "sure"), (2, "missing"), (3, "sure"), (4, "missing"),
    ]  # fmt: skip


def test_a_file_cut_short_is_not_used_and_one_with_a_note_is_wanted_again() -> None:
    exposures = [planned(0, 0, 1, "confirmed"), planned(0, 0, 2, "confirmed"), planned(1, 0, 1, "confirmed")]
    files = [one_file(), one_file(taken_s=6.0, trouble=CUT_SHORT), one_file(taken_s=7.0, trouble="is odd")]
    files = [replace(file, paths=(FOLDER / f"{n}.JPG",)) for n, file in enumerate(files)]
    found = match_lines(files, pairing(tuple(Match(n, 0.0) for n in range(3)), 3), exposures, FOLDER)
    assert used(found) == ["0.JPG", "2.JPG"]
    assert frames_to_retake(found, [(0, 0), (1, 0)]) == [1]
    assert frames_to_retake(found, [(0, 0), (0, 1)]) == [0, 1]


@pytest.mark.parametrize(
    ("seconds", "told_as", "exposure"), [(0.04, 0, 2), (0.01, None, 0), (0.0, None, 0), (5.0, None, 0)]
)
def test_out_of_turn_a_file_is_what_its_shutter_time_says(seconds: float, told_as: int | None, exposure: int) -> None:
    """If it says one that only one exposure of the bracket has."""
    times = (0.01, 0.0025, 0.04)
    exposures = [Planned(0, n, 1, "confirmed", float(n), times[n], True, True, True) for n in range(3)]
    found = match_lines([one_file(shutter_s=seconds)], pairing((Match(0, 0.0),), 3, turn=1), exposures, FOLDER)
    line = next(line for line in found if line.file)
    assert (line.told_as, line.exposure, line.planned_shutter_s) == (told_as, exposure, times[exposure])
    assert bool(line.notes) is (seconds == 5.0)


def test_of_two_exposures_alike_nobody_can_say_which_a_file_is() -> None:
    exposures = [Planned(0, n, 1, "confirmed", float(n), (0.01, 0.04, 0.04)[n], True, True, True) for n in range(3)]
    found = match_lines([one_file(shutter_s=0.04)], pairing((Match(0, 0.0),), 3, turn=1), exposures, FOLDER)
    assert found[0].told_as is None
    assert found[0].notes == ["exposed +2.0 EV from what was planned"]


@given(st.integers(1, 300), st.booleans())
def test_a_name_is_cut_in_the_middle_to_what_a_file_may_have(length: int, long_ending: bool) -> None:
    name = "x" * length + ("é" * 3 + ".JPG" if long_ending else ".JPG")
    line = MatchLine(MatchVerdict.SURE, name, frame=0, exposure=0, use=True)
    (one,) = placed([line], FOLDER, FRAMES, "frame")
    assert len(one.target.name.encode()) <= 255
    assert one.target.name.startswith("exposure-0_x")
    assert one.target.name.endswith(".JPG")
    whole = f"exposure-0_{name}"
    if len(whole.encode()) <= 255:
        assert one.target.name == whole
    else:
        assert len(one.target.name.encode()) >= 250
        assert "~" in one.target.name


@pytest.mark.parametrize("spoilt", [{"use": False}, {"file": None}, {"frame": None}, {"exposure": None}])
def test_only_lines_with_a_file_to_use_go_anywhere(spoilt: dict[str, Any]) -> None:
    line = MatchLine(MatchVerdict.SURE, "1.JPG", frame=0, exposure=0, use=True)
    assert len(placed([line], FOLDER, FRAMES, "row")) == 1
    assert placed([replace(line, **spoilt)], FOLDER, FRAMES, "row") == []


def test_numbers_of_frames_are_as_wide_as_the_widest() -> None:
    wide = [Frame(id=12345, row=0, yaw_deg=0.0, pitch_deg=0.0), *FRAMES]
    line = MatchLine(MatchVerdict.SURE, "1.JPG", frame=1, exposure=0, use=True)
    assert placed([line], FOLDER, wide, "row")[0].target.name == "frame-00001_exposure-0_1.JPG"
    assert placed([line], FOLDER, FRAMES, "row")[0].target == PurePosixPath(
        "row-02_pitch+60.0/frame-001_exposure-0_1.JPG"
    )


def test_only_files_on_the_card_are_copied(tmp_path: Path) -> None:
    card = tmp_path / "card"
    card.mkdir()
    (card / "a").write_bytes(b"1")
    (tmp_path / "b").write_bytes(b"1")
    (card / "within").symlink_to(card / "a")
    (card / "out").symlink_to(tmp_path / "b")
    (card / "gone").symlink_to(card / "nothing")
    assert [unfit(card / name, card) for name in ("a", "within")] == [None, None]
    assert unfit(card / "out", card) == "is a link to a file that is not on the card"
    assert unfit(card / "gone", card) == "cannot be read"
    assert unfit(card, card) == "is no file but a folder, a pipe or a device"
