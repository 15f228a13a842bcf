"""The requests that `fullturn plan` accepts, and how it refuses others."""

from __future__ import annotations

import json
import math
import re
from typing import Any

import pytest

from protocol.framing import MAX_FRAME
from tests.controller.commands.shell import HEADLESS, KIT, Shell, Told, refuses

PLAN = ("plan", "kit.toml", "--out", "plan.json", "--replace")
BAND = ("--region", "band")
WINDOW = ("--region", "window", "--pitch-from", "-10", "--pitch-to", "20")
PLACE = ("--latitude", "47", "--longitude", "8")
LOW = HEADLESS + "[head.tilt]\nmin_deg = -20.0\n"  # a head that cannot look down


def sentence(shell: Shell, status: int, *words: str) -> str:
    """The one sentence of the refusal."""
    (line,) = refuses(shell, status, *words)
    assert line.endswith(".")
    return line


def usage(shell: Shell, *words: str) -> str:
    """The text below the usage when options are wrong."""
    return refuses(shell, 2, *words)[-1]


def planned(shell: Shell, *words: str) -> dict[str, Any]:
    """The plan made with these options."""
    told: Told = shell(*words, "--json")
    assert (told.status, told.err) == (0, "")
    shown: dict[str, Any] = json.loads(told.out)
    return shown


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (BAND, "--region band needs --pitch-from and --pitch-to"),
        ((*BAND, "--pitch-from", "5"), "--region band needs --pitch-to"),
        ((*BAND, "--pitch-to", "5"), "--region band needs --pitch-from"),
        (("--region", "window"), "--region window needs --pitch-from, --pitch-to, --yaw-from and --yaw-to"),
        (WINDOW, "--region window needs --yaw-from and --yaw-to"),
        ((*WINDOW, "--yaw-from", "0"), "--region window needs --yaw-to"),
    ],
)
def test_a_region_without_its_bounds(shell: Shell, words: tuple[str, ...], said: str) -> None:
    assert usage(shell, *PLAN, *words) == f"Error: {said}. Add what is missing."


@pytest.mark.parametrize(("low", "high"), [("20", "10"), ("5", "5"), ("90", "-90")])
@pytest.mark.parametrize("region", [BAND, ("--region", "window", "--yaw-from", "0", "--yaw-to", "9")])
def test_bounds_the_wrong_way_round(shell: Shell, region: tuple[str, ...], low: str, high: str) -> None:
    line = sentence(shell, 2, *PLAN, *region, "--pitch-from", low, "--pitch-to", high)
    assert f"--pitch-from {low} must be less than --pitch-to {high}" in line


def test_a_window_of_no_width(shell: Shell) -> None:
    assert "use --region band" in sentence(shell, 2, *PLAN, *WINDOW, "--yaw-from", "-90", "--yaw-to", "270")


def test_a_floor_above_everything(shell: Shell) -> None:
    line = sentence(shell, 2, *PLAN, *BAND, "--pitch-from", "-40", "--pitch-to", "-10", "--floor", "-10")
    assert "--floor -10 leaves nothing" in line


@pytest.mark.parametrize(
    "words",
    [
        ("--region", "room"),
        ("--pitch-from", "-91"),
        ("--yaw-to", "361"),
        ("--row-pitch", "nan"),
        ("--max-frames", "0"),
        ("--max-seconds", "0"),
        ("--resolution", "-1"),
        ("--order", "random"),
        ("--mounted", "upside-down"),
        ("--effort", "-1"),
        ("--latitude", "90.5", "--longitude", "8", "--start", "2026-06-21T05:30Z"),
    ],
)
def test_values_out_of_range(shell: Shell, words: tuple[str, ...]) -> None:
    assert words[0] in usage(shell, *PLAN, *words)


def test_a_band_and_a_window_become_what_was_asked(shell: Shell) -> None:
    band = planned(shell, *PLAN, *BAND, "--pitch-from", "-30", "--pitch-to", "45.5")["region"]
    assert (band["kind"], band["pitch_from_deg"], band["pitch_to_deg"]) == ("band", -30, 45.5)
    assert (band["yaw_width_deg"], band["unreachable_sr"]) == (360, 0)
    window = planned(shell, *PLAN, *WINDOW, "--yaw-from", "350", "--yaw-to", "80")
    assert (window["region"]["yaw_from_deg"], window["region"]["yaw_width_deg"]) == (350, 90)
    assert window["proof"]["covered"]
    floor = planned(shell, *PLAN, "--floor", "-50")["region"]
    assert (floor["pitch_from_deg"], floor["pitch_to_deg"]) == (-50, 90)


def test_a_single_row_is_one_row_and_tells_how_high_it_is(shell: Shell) -> None:
    told = shell(*PLAN, "--region", "single-row", "--row-pitch", "10")
    assert told.status == 0
    plan = json.loads((shell.folder / "plan.json").read_text(encoding="utf-8"))
    assert {(frame["row"], frame["pitch_deg"]) for frame in plan["frames"]} == {(0, 10.0)}
    region = plan["region"]
    assert region["pitch_from_deg"] < 10 < region["pitch_to_deg"]
    assert f"from {region['pitch_from_deg']:.1f}° to {region['pitch_to_deg']:.1f}°" in told.out


def test_a_single_row_that_the_head_cannot_take(shell: Shell) -> None:
    shell.write("kit.toml", LOW)
    assert "do not allow a row at pitch -40" in sentence(shell, 2, *PLAN, "--region", "single-row", "--row-pitch", "-40")


def test_too_many_frames_and_the_nearest_that_is_possible(shell: Shell) -> None:
    needed = planned(shell, *PLAN)["budget"]["frames"]
    line = sentence(shell, 1, *PLAN, "--max-frames", str(needed - 1))
    assert f"{needed} frames" in line
    found = re.search(r"An overlap of (\d+) % would do \((\d+) frames", line)
    assert found is not None
    percent, frames = int(found[1]), int(found[2])
    assert frames <= needed - 1
    budget = planned(shell, *PLAN, "--max-frames", str(needed - 1), "--overlap", str(percent / 100))["budget"]
    assert budget["frames"] == frames
    # One per cent more is impossible: this is the nearest.
    refuses(shell, 1, *PLAN, "--max-frames", str(needed - 1), "--overlap", str((percent + 1) / 100))
    assert planned(shell, *PLAN, "--max-frames", str(needed))["budget"]["frames"] == needed


def test_so_few_frames_that_no_overlap_would_do(shell: Shell) -> None:
    assert "No overlap is small enough" in sentence(shell, 1, *PLAN, "--max-frames", "2")


# 36 mm and 6000 pixels: 1 / atan(0.006 / f) pixels per radian at the middle; 60 a degree take f = 20.6 mm (arithmetic).
def test_a_resolution_that_the_lens_does_not_reach(shell: Shell) -> None:
    line = sentence(shell, 1, *PLAN, "--resolution", "60")
    assert "resolves 34.9 pixels per degree" in line
    assert "a focal length of 21 mm or more" in line
    offers = re.findall(r"(\d+) mm (portrait|landscape): (\d+) frames", line)
    assert {int(focal) for focal, _, _ in offers} == {24, 28, 35}
    focal, way, frames = offers[0]
    shell.write("kit.toml", KIT.replace("12.0", focal))
    assert planned(shell, *PLAN, "--resolution", "60", "--mounted", way)["budget"]["frames"] == int(frames)


def test_a_resolution_within_reach_changes_nothing(shell: Shell) -> None:
    assert planned(shell, *PLAN, "--resolution", "34.8") == planned(shell, *PLAN)


# 3 m at 300 dots an inch around a whole turn: 300 / 2.54 * 300 / 360 = 98.4 pixels per degree (arithmetic).
def test_the_width_of_a_print_is_a_resolution_too(shell: Shell) -> None:
    assert "not the 98.4 requested" in sentence(shell, 1, *PLAN, "--print-width-cm", "300")
    assert planned(shell, *PLAN, "--print-width-cm", "300", "--dpi", "100")["proof"]["covered"]  # 32.8 are enough


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((*PLACE, "--start", "2026-06-21T05:30"), "needs its offset"),
        ((*PLACE, "--start", "tomorrow"), "is not a date and time"),
        (PLACE, "--latitude and --longitude have no effect without --start"),
        (("--start", "2026-06-21T05:30Z", "--latitude", "47"), "have no effect without --longitude"),
        (("--sun", "first"), "--sun has no effect without --latitude, --longitude and --start"),
        (("--north-yaw", "5"), "--north-yaw has no effect without --latitude, --longitude and --start"),
    ],
)
def test_the_sun_without_time_or_place(shell: Shell, words: tuple[str, ...], said: str) -> None:
    assert said in usage(shell, *PLAN, *words)


@pytest.mark.parametrize("when", ["first", "last"])
def test_frames_that_see_the_sun_come_together(shell: Shell, when: str) -> None:
    sun = planned(shell, *PLAN, *PLACE, "--start", "2026-06-21T12:00:00+02:00", "--sun", when)["sun"]
    plan = json.loads((shell.folder / "plan.json").read_text(encoding="utf-8"))
    count, last = len(sun["frames"]), len(plan["frames"])
    assert 0 < count < last
    begin = 0 if when == "first" else last - count
    assert sun["frames"] == list(range(begin, begin + count))


def test_a_region_out_of_reach(shell: Shell) -> None:
    shell.write("kit.toml", LOW)
    line = sentence(shell, 1, *PLAN)
    assert "out of the head's reach" in line
    assert "--allow-unreachable" in line
    told = shell(*PLAN, "--allow-unreachable")
    assert told.status == 0
    assert "Out of reach and left out: " in told.out
    region = json.loads((shell.folder / "plan.json").read_text(encoding="utf-8"))["region"]
    assert region["unreachable_sr"] > 0
    assert f"{region['unreachable_sr']:.3f} steradians" in line
    assert f"{region['unreachable_sr']:.3f} steradians" in told.out


@pytest.mark.parametrize("more", [(), ("--allow-unreachable",)])
def test_a_region_of_which_nothing_can_be_reached(shell: Shell, more: tuple[str, ...]) -> None:
    shell.write("kit.toml", LOW)
    line = sentence(shell, 2, *PLAN, *BAND, "--pitch-from", "-90", "--pitch-to", "-80", *more)
    assert "put all of this region out of reach" in line


def test_what_the_head_cannot_reach_may_be_held_by_hand(shell: Shell) -> None:
    shell.write("kit.toml", LOW)
    plan = planned(shell, *PLAN, "--nadir-by-hand")
    assert (plan["proof"]["covered"], plan["region"]["unreachable_sr"]) == (True, 0)
    told = shell("rehearse", "plan.json", "--out", "run", "--json")
    assert told.status == 0
    frames = json.loads((shell.folder / "plan.json").read_text(encoding="utf-8"))["frames"]
    (by_hand,) = [frame for frame in frames if frame["by_hand"]]
    truth = json.loads((shell.folder / "run/truth.json").read_text(encoding="utf-8"))["exposures"]
    assert len(truth) == 2 * len(frames)
    for shot in truth:
        assert (shot["frame"] == by_hand["id"]) is (shot["pitch_deg"] == -90)
        assert shot["still"]


def test_both_ways_to_mount_the_camera_are_weighed(shell: Shell) -> None:
    shown = planned(shell, *PLAN, "--mounted", "best")
    ways = {way: (made["frames"], made["seconds"]) for way, made in shown["compared"].items()}
    assert set(ways) == {"portrait", "landscape"}
    assert (shown["budget"]["frames"], shown["budget"]["seconds"]) == min(ways.values())
    for way, (frames, seconds) in ways.items():
        alone = planned(shell, *PLAN, "--mounted", way)
        assert (alone["budget"]["frames"], alone["budget"]["seconds"]) == (frames, seconds)
        assert alone["compared"] == {}


def test_a_place_below_a_plain_file(shell: Shell) -> None:
    shell.write("plain", "in the way")
    for place in ("plain/plan.json", "plain/deeper/plan.json"):
        line = sentence(shell, 1, "plan", "kit.toml", "--out", place)
        assert line.startswith(f"{place} cannot be written")


def test_a_board_without_patience(shell: Shell) -> None:
    shell.write("kit.toml", KIT + "[board]\nsilence_ms = 300\n")
    line = sentence(shell, 2, *PLAN)
    least = math.ceil(6 * (250 + 2 * MAX_FRAME * 10 * 1000 / 115_200))
    assert f"silence_ms = 300 is too short for baud = 115200: {least} or more" in line


REPLACED = ("plan", "kit.toml", "--out", "plan.json")


def test_a_plan_is_replaced_only_when_asked(shell: Shell) -> None:
    assert shell(*REPLACED).status == 0
    before = (shell.folder / "plan.json").read_bytes()
    assert "plan.json exists already. Add --replace" in sentence(shell, 1, *REPLACED, "--overlap", "0.2")
    assert (shell.folder / "plan.json").read_bytes() == before
    assert shell(*REPLACED, "--overlap", "0.2", "--replace").status == 0
    assert (shell.folder / "plan.json").read_bytes() != before


def test_nothing_but_a_plan_is_ever_replaced(planned: Shell) -> None:
    """A kit, a session, a photograph, a report, and a plan that was edited."""
    plan = json.loads((planned.folder / "plan.json").read_text(encoding="utf-8"))
    assert planned("rehearse", "plan.json", "--out", "run").status == 0
    (planned.folder / "photo.jpg").write_bytes(b"\xff\xd8\xff\xe0 a photograph")
    for name, content in (
        ("changed.json", plan | {"overlap": 0.2}),
        ("old.json", {"format": "fullturn-plan"}),
        ("list.json", [plan]),
    ):
        planned.write(name, json.dumps(content))
    planned.write("deep.json", "[" * 100_000)
    kept = ("kit.toml", "run/session.sqlite", "run/report.json", "photo.jpg", "changed.json", "old.json", "list.json")
    for name in (*kept, "deep.json"):
        before = (planned.folder / name).read_bytes()
        line = sentence(planned, 1, "plan", "kit.toml", "--out", name, "--replace")
        assert "is kept" in line
        assert (planned.folder / name).read_bytes() == before


def test_a_place_that_cannot_be_is_refused_before_the_kit_is_read(shell: Shell) -> None:
    shell.write("bad.toml", "no kit at all")
    for place in ("", "x" * 300, "no/such/plan.json"):
        told = shell("plan", "bad.toml", "--out", place)
        assert told.status == (1 if place else 2)  # an empty name is wrong use
        assert "bad.toml" not in told.err.splitlines()[-1]
