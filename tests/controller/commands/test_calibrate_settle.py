"""`fullturn calibrate settle` with several moves: from a file, made by a simulated head, and what a plan gains."""

from __future__ import annotations

import csv
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from controller.calibration.known_lens import LensGiven
from controller.calibration.questions import PersonAtHead
from controller.calibration.records import AxisName, read
from controller.calibration.settle_finding import Still
from controller.calibration.settle_moves import MoveReadings, cell_of
from controller.calibration.settle_session import PersonSensor
from controller.calibration.validity import calibrated
from controller.commands import calibrate_rehearsal
from controller.commands.calibrate import Keeping
from controller.commands.calibrate_rehearsal import SimulatedSensor, ringing_head
from controller.commands.calibrate_settle import SensorUse, WantedMoves, settle_moving_command
from controller.commands.stand_in import rig_spec
from controller.kit.load import load_kit
from controller.planning.plan_file import load_plan
from controller.program.build import build_program
from controller.shaping.ringing import Mode
from controller.shaping.shapers import extra_insensitive
from protocol.shaper import PLAIN
from tests.controller.calibration.shaken import after_move
from tests.controller.commands.shell import KIT, Shell, refuses

SHAPER = extra_insensitive(Mode(6.0, 0.04, 0.1, 0.5))
TRUE_HZ, TRUE_DAMPING = 5.7, 0.05
FROM = ("calibrate", "settle", "--from", "m.csv")
RINGS = KIT.replace("[head.pan]", "[head]\nring_hz = 6.0\nring_damping = 0.04\n[head.pan]")


def text_of(reads: Sequence[MoveReadings]) -> str:
    """A file of these readings, to the ten-thousandth of a degree."""
    lines = ["time_ms,value,axis,shaped,pitch_deg"]
    for each in reads:
        move = each.move
        assert move.shaper is not None
        end = f"{move.axis.value},{cell_of(move.shaper)},{move.pitch_deg:g}"
        pairs = zip(each.time_s, each.value, strict=True)
        lines += [f"{1000 * time_s:.3f},{value:.4f},{end}" for time_s, value in pairs]
    return "\n".join(lines) + "\n"


def moves(hz: float = TRUE_HZ, pitches: Sequence[tuple[float, float]] = ((0.0, 1.0),)) -> str:
    """A simulated head after each move: its frequency at these pitches times these factors."""
    reads = [
        after_move(shaper, hz * factor, TRUE_DAMPING, seed=number, pitch_deg=pitch_deg)
        for number, (pitch_deg, factor) in enumerate(pitches)
        for shaper in (PLAIN, SHAPER)
    ]
    return text_of(reads)


def answer(shell: Shell, *words: str) -> Any:
    told = shell(*words, "--json")
    assert told.status == 0, told.err
    return json.loads(told.out)


@pytest.fixture
def rings(shell: Shell) -> Shell:
    shell.write("kit.toml", RINGS)
    return shell


def test_several_pitches_are_measured_stored_and_planned_with(rings: Shell) -> None:
    rings.write("m.csv", moves(pitches=((-40.0, 1.02), (0.0, 1.0), (60.0, 0.96))))
    found = answer(rings, *FROM, "--degrees-per-unit", "1", "--kit", "kit.toml", "--page", "p.html")
    pan = found["axes"]["pan"]
    assert list(found["axes"]) == ["pan"]
    assert [place["pitch_deg"] for place in pan["places"]] == [-40.0, 0.0, 60.0]
    for place, factor in zip(pan["places"], (1.02, 1.0, 0.96), strict=True):
        assert place["ring_hz"] == pytest.approx(TRUE_HZ * factor, rel=0.003)
        assert place["verdict"] == "works"
        assert place["unit"] == "px"
        assert place["with"]["still_after_s"] < place["without"]["still_after_s"]
        low, high = place["with"]["swing_95"]
        assert low <= place["with"]["swing"] <= high < 0.1 * place["without"]["swing"]
    low, high = pan["interval_95"]["ring_hz"]
    assert low < TRUE_HZ < high
    assert (rings.folder / "p.html").read_text(encoding="utf-8").count("Ringing: pan at pitch") >= 3
    (record,) = read(Path("kit.toml"))
    assert (record.id, record.axis, [row.pitch_deg for row in record.over_pitch]) == (
        pan["record_id"],
        "pan",
        [-40, 0, 60],
    )
    head = calibrated(load_kit(Path("kit.toml")), [record]).head
    assert head.pan.ring_over_pitch == tuple((row.pitch_deg, row.ring_hz) for row in record.over_pitch)
    assert head.pan.ring_damping == pytest.approx(TRUE_DAMPING, rel=0.2)
    assert (head.tilt.ring_hz, head.ring_hz, head.ring_hz_within) == (None, 6.0, 0.1)  # tilt was not measured


def test_what_is_said_in_words(rings: Shell) -> None:
    rings.write("m.csv", moves())
    told = rings(*FROM, "--degrees-per-unit", "1", "--kit", "kit.toml", "--dry")
    lines = told.out.splitlines()
    assert lines[0].startswith("Pan at pitch 0°: rings at 5.")
    assert "Without the shaper it swings by" in lines[1]
    assert " px to either side at the end of the move (95 %), and is still after " in lines[1]
    assert lines[2].startswith("With it, by ")
    assert lines[3].startswith("Shaping works here: ")
    assert "give --pitch several times" in lines[4]
    assert lines[5] == "Nothing was stored (--dry)."


def test_a_wrong_frequency_in_words(rings: Shell) -> None:
    rings.write("m.csv", moves(hz=8.0))
    told = rings(*FROM, "--kit", "kit.toml", "--dry")
    assert "Shaping leaves too much here: " in told.out
    assert "made for 6.00 Hz within 10 % and a damping ratio of 0.040 within 50 %; this head rings otherwise" in told.out
    assert "of the sensor's units to either side" in told.out


def test_without_a_kit_nothing_is_stored_and_yes_needs_one(shell: Shell) -> None:
    shell.write("m.csv", moves())
    assert shell(*FROM).out.splitlines()[-1] == "Nothing was stored, because no kit was named (--kit FILE)."
    shell.write("m.csv", moves().replace(f",{cell_of(SHAPER)},", ",yes,"))
    (line,) = refuses(shell, 2, *FROM)
    assert line.endswith("shaped = yes is the shaper of a kit; name it (--kit), or write the impulses.")


def test_yes_is_the_shaper_of_the_kit(rings: Shell) -> None:
    rings.write("m.csv", moves().replace(f",{cell_of(SHAPER)},", ",yes,"))
    (place,) = answer(rings, *FROM, "--kit", "kit.toml", "--dry")["axes"]["pan"]["places"]
    assert len(place["shaper"]) >= 2
    rings.write("kit.toml", RINGS + "[board]\nshapes_ramps = false\n")
    (line,) = refuses(rings, 2, *FROM, "--kit", "kit.toml")
    assert "this kit's head gets no shaper for pan; in place of yes, write the impulses" in line


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--plan", "kit.toml"), "--plan has no effect without --kit"),
        (("--pitch", "0"), "--pitch has no effect without --port or --rehearse"),
        (("--axis", "pan"), "--axis has no effect without --port or --rehearse"),
        (("--port", "p", "--kit", "kit.toml"), "--port has no effect with --from"),
        (("--rehearse", "1", "--kit", "kit.toml"), "--rehearse has no effect with --from"),
        (("--kit", "kit.toml", "--plan", "kit.toml"), "kit.toml"),
    ],
)
def test_options_that_do_not_fit_are_refused(words: tuple[str, ...], said: str, rings: Shell) -> None:
    rings.write("m.csv", moves())
    assert any(said in line for line in refuses(rings, 2, *FROM, *words))


@pytest.mark.parametrize("pitch", ["91", "level"])
def test_a_pitch_that_is_none_is_refused(pitch: str, rings: Shell) -> None:
    refuses(rings, 2, "calibrate", "settle", "--kit", "kit.toml", "--rehearse", "1", "--pitch", pitch)


def test_a_plan_gains_what_its_program_says(rings: Shell) -> None:
    """The seconds are those of the programs with the measured figures, shaped and plain."""
    row = ("--region", "single-row", "--row-pitch", "0", "--out", "plan.json")
    assert rings("plan", "kit.toml", *row).status == 0
    rings.write("m.csv", moves())
    gain = answer(rings, *FROM, "--degrees-per-unit", "1", "--kit", "kit.toml", "--plan", "plan.json")["plan"]
    assert gain["saved_s"] == pytest.approx(gain["without_s"] - gain["with_s"])
    assert gain["saved_s"] > 0
    (record,) = read(Path("kit.toml"))
    plan = load_plan(Path("plan.json"))
    program = build_program(calibrated(plan.kit, [record]), plan.frames)
    assert gain["with_s"] == program.expected_ns / 1e9
    other = RINGS.replace("focal_length_mm = 12.0", "focal_length_mm = 24.0")
    rings.write("kit.toml", other)
    (line,) = refuses(rings, 2, *FROM, "--kit", "kit.toml", "--plan", "plan.json")
    assert "plan.json: was planned for another head or lens than kit.toml; plan again." in line


def test_a_rehearsal_makes_the_moves_and_finds_the_truth(rings: Shell) -> None:
    before = rings.files()
    words = ("calibrate", "settle", "--kit", "kit.toml", "--rehearse", "4", "--pitch", "0", "--pitch", "50")
    told = rings(*words, "--json")
    assert told.status == 0, told.err
    hz = float(told.err.split("rings at ")[1].split(" Hz")[0])
    found = json.loads(told.out)
    assert rings.files() == before
    assert list(found["axes"]) == ["pan", "tilt"]
    assert len(found["moves"]) == 8
    for axis in found["axes"].values():
        assert axis["record_id"] is None
        for place in axis["places"]:
            assert place["ring_hz"] == pytest.approx(hz, rel=0.002)
            assert place["verdict"] == "works"


class Typist:
    """The person at a simulated head: gives the simulated sensor's readings as files, after one wrong name."""

    def __init__(self, sensor: SimulatedSensor, left_out: Sequence[int] = ()) -> None:
        self._sensor, self._left_out = sensor, left_out
        self.asked: list[str] = []
        self.files = 0

    def __call__(self, question: str) -> str:
        self.asked.append(question)
        if question.startswith("Start"):
            return ""
        if len(self.asked) == 2:
            return "no such file.csv"
        self.files += 1
        if self.files in self._left_out:
            return ""
        read = self._sensor.wait_readings("")
        path = Path(f"own-{self.files}.csv")
        pairs = zip(read.numbers["time_ms"], read.numbers["value"], strict=True)
        path.write_text("time_ms,value\n" + "".join(f"{time:.3f},{value:.5f}\n" for time, value in pairs))
        return str(path)


def moved(left_out: Sequence[int] = ()) -> tuple[Any, Typist, list[str]]:
    """The pan axis at pitch 20°, with a kit whose own wait counts: EI is tested then."""
    Path("kit.toml").write_text(RINGS.replace("ring_hz", "settle_ms = 500.0\nring_hz"), encoding="utf-8")
    kit = load_kit(Path("kit.toml"))
    told: list[str] = []
    mover, sensor = ringing_head(kit, 2, told.append)
    typist = Typist(sensor, left_out)
    person = PersonAtHead(told.append, typist)
    reading = SensorUse(0.0, 1.0, Still(LensGiven()))
    keeping = Keeping(Path("kit.toml"))
    kept = settle_moving_command(
        mover, PersonSensor(person), WantedMoves((AxisName.PAN,), (20.0,)), reading, keeping, told.append
    )
    return kept, typist, told


def test_the_head_makes_the_moves_and_the_files_come_in(rings: Shell) -> None:
    kept, typist, told = moved()
    assert len(typist.asked) == 2 * 2 + 1  # one wrong name, asked again
    assert any("no such file.csv: does not exist" in line for line in told)
    (place,) = kept.as_json()["axes"][AxisName.PAN]["places"]
    assert (place["verdict"], place["pitch_deg"]) == ("works", 20.0)
    with next(rings.folder.glob("moves-*.csv")).open() as file:
        rows = list(csv.DictReader(file))
    assert [(row["move"], row["axis"], row["pitch_deg"]) for row in rows] == [("1", "pan", "20.0"), ("2", "pan", "20.0")]
    assert rows[0]["shaped"] == "no"
    assert rows[1]["shaped"] == cell_of_json(place["shaper"])
    (readings,) = rings.folder.glob("readings-*.csv")
    again = answer(rings, "calibrate", "settle", "--from", readings.name, "--degrees-per-unit", "1", "--dry",
                   "--kit", "kit.toml")  # fmt: skip
    assert again["axes"]["pan"]["places"][0]["share_left"] == pytest.approx(place["share_left"])


def cell_of_json(impulses: list[list[int]]) -> str:
    return " ".join(f"{delay}:{share}" for delay, share in impulses)


def test_moves_without_readings_are_only_listed(rings: Shell) -> None:
    kept, _, _ = moved(left_out=(1, 2))
    assert kept.text().startswith("2 moves made, without readings. Give the sensor's readings with --from")
    assert not list(rings.folder.glob("readings-*.csv"))
    assert not read(Path("kit.toml"))


def test_a_board_that_does_not_shape_makes_the_plain_moves_only(rings: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(calibrate_rehearsal, "rig_spec", lambda kit, seed: replace(rig_spec(kit, seed), shapes=False))
    kept, typist, _ = moved()
    assert typist.files == 1
    assert "No move with the shaper was measured here." in kept.text()
