"""Lines, the file to use, what to reshoot, and where each file goes."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path, PurePosixPath

from controller.matching.card import CardFile
from controller.matching.fit import ClockFit
from controller.matching.pairing import Match, Pairing
from controller.matching.sorting import placed
from controller.matching.table import (
    MatchedPose,
    MatchLine,
    MatchVerdict,
    Planned,
    frames_to_retake,
    lines_csv,
    match_lines,
)
from controller.planning.plan import Frame

FOLDER = Path("card")
FRAMES = [Frame(id=0, row=0, yaw_deg=-90.0, pitch_deg=-4.5), Frame(id=1, row=2, yaw_deg=7.25, pitch_deg=60.0)]


def planned(frame: int, exposure: int, attempt: int, outcome: str) -> Planned:
    made = outcome in {"confirmed", "assumed", "suspect", "retake"}
    counts = outcome in {"confirmed", "assumed"}
    return Planned(frame, exposure, attempt, outcome, 0.0, 0.01, made, outcome == "confirmed", counts)


def lines(outcomes: list[tuple[int, int, int, str]], given: list[int | None], sure: bool = True) -> list[MatchLine]:
    """One file for each of `given`, the number of its exposure."""
    exposures = [planned(*one) for one in outcomes]
    files = [CardFile((FOLDER / f"{n}.JPG",), "One", float(n), True, 0.01, None) for n in range(len(given))]
    matches = tuple(Match(one, 0.0 if sure else 0.01) for one in given)
    return match_lines(files, pairing(matches, len(exposures)), exposures, FOLDER)


def pairing(matches: tuple[Match, ...], exposures: int, turn: int = 0) -> Pairing:
    """By one correct clock, in the order of the files."""
    times = tuple(float(n) for n in range(exposures))
    order = tuple(range(len(matches)))
    return Pairing(matches, (ClockFit(0.0, 0.0, 0.1, turn=turn),), (0,) * len(matches), times, order, 0.01)


def used(found: list[MatchLine]) -> list[str | None]:
    return [line.file for line in found if line.use]


def test_a_made_exposure_without_a_file_is_missing_and_its_frame_wanted_again() -> None:
    found = lines([(0, 0, 1, "confirmed"), (1, 0, 1, "confirmed")], [0])
    assert [line.verdict for line in found] == [MatchVerdict.SURE, MatchVerdict.MISSING]
    assert frames_to_retake(found, [(0, 0), (1, 0)]) == [1]


def test_an_attempt_that_did_not_count_need_not_have_a_file() -> None:
    found = lines([(0, 0, 1, "unconfirmed"), (0, 0, 2, "confirmed")], [1])
    assert [line.verdict for line in found] == [MatchVerdict.SURE]


def test_of_two_attempts_that_count_the_last_is_used() -> None:
    assert used(lines([(0, 0, 1, "confirmed"), (0, 0, 2, "confirmed")], [0, 1])) == ["1.JPG"]


def test_what_was_suspect_is_not_used_though_its_file_is_there() -> None:
    assert used(lines([(0, 0, 1, "suspect"), (0, 0, 2, "confirmed")], [0, 1])) == ["1.JPG"]
    assert used(lines([(0, 0, 1, "suspect")], [0])) == []


def test_a_file_that_the_camera_never_confirmed_is_used_where_there_is_no_other() -> None:
    found = lines([(0, 0, 1, "unconfirmed")], [0])
    assert used(found) == ["0.JPG"]
    assert frames_to_retake(found, []) == []


def test_another_shutter_time_than_planned_is_noted_and_the_frame_wanted_again() -> None:
    exposures = [planned(0, 0, 1, "confirmed")]
    file = CardFile((FOLDER / "a.JPG",), "One", 0.0, True, 0.04, None)
    found = match_lines([file], pairing((Match(0, 0.0),), 1), exposures, FOLDER)
    assert found[0].notes == ["exposed +2.0 EV from what was planned"]
    assert frames_to_retake(found, [(0, 0)]) == [0]


def test_a_bracket_out_of_turn_is_sorted_by_shutter_time() -> None:
    times = (0.0025, 0.01, 0.04)
    exposures = [Planned(0, n, 1, "confirmed", float(n), times[n], True, True, True) for n in range(3)]
    files = [CardFile((FOLDER / f"{n}.JPG",), "One", float(n), True, times[(n + 1) % 3], None) for n in range(3)]
    found = match_lines(files, pairing(tuple(Match(n, 0.0) for n in range(3)), 3, turn=1), exposures, FOLDER)
    assert [(line.told_as, line.exposure) for line in found] == [(0, 1), (1, 2), (2, 0)]
    assert all(line.use and not line.notes for line in found)
    assert frames_to_retake(found, [(0, n) for n in range(3)]) == []


def test_where_each_file_goes() -> None:
    found = lines([(0, 0, 1, "confirmed"), (1, 2, 1, "assumed")], [0, 1], sure=False)
    by_frame = [one.target for one in placed(found, FOLDER, FRAMES, "frame")]
    assert by_frame == [
        PurePosixPath("frame-000_yaw-090.0_pitch-04.5/exposure-0_doubtful_0.JPG"),
        PurePosixPath("frame-001_yaw+007.2_pitch+60.0/exposure-2_doubtful_1.JPG"),
    ]
    by_row = [one.target for one in placed(found, FOLDER, FRAMES, "row")]
    assert by_row[1] == PurePosixPath("row-02_pitch+60.0/frame-001_exposure-2_doubtful_1.JPG")


def test_files_of_the_same_shot_go_together() -> None:
    line = MatchLine(MatchVerdict.SURE, "a/1.JPG", ["a/1.NEF"], frame=0, exposure=0, use=True)
    both = placed([line], FOLDER, FRAMES, "frame")
    assert [one.source for one in both] == [FOLDER / "a/1.JPG", FOLDER / "a/1.NEF"]
    assert [one.target.name for one in both] == ["exposure-0_1.JPG", "exposure-0_1.NEF"]


def test_the_table_as_text() -> None:
    text = lines_csv(lines([(0, 0, 1, "confirmed"), (1, 0, 1, "confirmed")], [0]))
    rows = text.splitlines()
    assert rows[0].startswith("verdict,file,also,frame,exposure")
    assert rows[1].startswith("sure,0.JPG,,0,0,1,confirmed")
    assert rows[2].startswith("missing,,,1,0,1,confirmed")


def test_a_file_and_its_pose_are_in_one_row() -> None:
    poses = [MatchedPose(-90.1, -4.4, 1.25, -89.0, -4.0), MatchedPose(7.0, -90.0, 0.0, None, None)]
    exposures = [replace(planned(n, 0, 1, "confirmed"), pose=pose) for n, pose in enumerate(poses)]
    files = [CardFile((FOLDER / f"{n}.JPG",), "One", float(n), True, 0.01, None) for n in range(3)]
    matches = (Match(0, 0.0), Match(1, 0.0), Match(None, 0.0))
    found = match_lines(files, pairing(matches, 2), exposures, FOLDER)
    rows = list(csv.DictReader(lines_csv(found).splitlines()))
    names = ("file", *MatchedPose._fields)
    assert [tuple(row[name] for name in names) for row in rows] == [
        ("0.JPG", "-90.1", "-4.4", "1.25", "-89.0", "-4.0"),
        ("1.JPG", "7.0", "-90.0", "0.0", "", ""),
        ("2.JPG", "", "", "", "", ""),
    ]
