"""`kit loads` on the command line."""

import json

import pytest

from tests.controller.commands.shell import Shell, refuses


def words(text: str) -> list[str]:
    return text.split()


WORDS = ("kit", "loads", "kit.toml")
OPTIONS = (
    *words("--mass-kg 2 --length-mm 200 --height-mm 120 --tilt-offset-mm 10 --pan-offset-mm 10 --rotor-g-cm2 54"),
    *words("--gear-efficiency 0.8 --total-kg 6 --feet-radius-mm 550 --wind-height-mm 1500 --area-m2 0.05"),
)
CURVE = ("--torque", "0:0.4", "--torque", "600:0.2")


def values(shell: Shell, *more: str) -> dict[str, str]:
    told = shell(*WORDS, *OPTIONS, *more, "--json")
    assert told.status == 0
    return {line["what"]: line["value"] for line in json.loads(told.out)["lines"]}


def test_every_answer_has_its_formula_and_the_caution_stands(shell: Shell) -> None:
    told = shell(*WORDS, *OPTIONS, *CURVE, "--wind-m-s", "10")
    assert told.status == 0
    out = " ".join(told.out.split())
    for said in ("(I α + T) / (g η) + J g α", "½ ρ v² A c", "sin(90° / 16)", "load limits", "handbooks"):
        assert said in out
    assert "safe" not in out.casefold()


def test_tilt_imbalance_and_wind_by_hand(shell: Shell) -> None:
    """2 kg at 10 mm: 0.196 N m. Feet at 0.55 m, o = 2/6 × √2 × 10 mm: 58.84 × (0.275 - 0.0047) / 1.5 = 10.60 N."""
    found = values(shell, *CURVE, "--wind-m-s", "10")
    assert found["tilt: torque of imbalance"] == "0.196 N m"
    assert found["tripod: a foot lifts at"] == "10.60 N"
    assert "gusts of 1.4 times" in found["tripod: pushed by"]
    assert "a foot lifts" in values(shell, *CURVE, "--wind-m-s", "20")["tripod: pushed by"]


@pytest.mark.parametrize(
    ("curve", "said"),
    [
        (("0:0.4", "60:0.2"), "ends at 60 rpm"),
        (("9:0.4",), "begin at 0 rpm"),
        (("0:nan",), "is not like"),
        (("x",), "0.2"),
    ],
)
def test_a_curve_that_cannot_be_used(shell: Shell, curve: tuple[str, ...], said: str) -> None:
    given = [word for point in curve for word in ("--torque", point)]
    assert said in " ".join(refuses(shell, 2, *WORDS, *OPTIONS, *given, "--wind-m-s", "1"))


TABLE = """
mass_kg = 2
length_mm = 200
height_mm = 120
tilt_offset_mm = 10
pan_offset_mm = 10
rotor_g_cm2 = 54
gear_efficiency = 0.8
total_kg = 6
feet_radius_mm = 550
wind_height_mm = 1500
area_m2 = 0.05
torque = [[0, 0.4], [600, 0.2]]
"""


def test_a_table_stands_in_for_what_is_not_typed(shell: Shell) -> None:
    shell.write("load.toml", TABLE)
    typed = shell(*WORDS, *OPTIONS, *CURVE, "--wind-m-s", "10")
    assert shell(*WORDS, "--from", "load.toml", "--wind-m-s", "10") == typed
    heavier = shell(*WORDS, "--from", "load.toml", "--wind-m-s", "10", "--mass-kg", "4")
    assert heavier.status == 0
    assert heavier.out != typed.out


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (TABLE.replace("mass_kg = 2", "weight = 2"), "load.toml: has a key weight, which is no option."),
        ("mass", "load.toml: is not valid TOML at line 1, column 5: mass. Its keys are the options"),
        (TABLE.replace("mass_kg = 2", "mass_kg = [1, 2]"), "mass_kg = [1, 2] is not a number."),
        (TABLE.replace("mass_kg = 2", "mass_kg = true"), "mass_kg = True is not a number."),
        (TABLE.replace("[[0, 0.4], [600, 0.2]]", "[0, 0.4]"), "torque = [0, 0.4] is not a list of points"),
        (TABLE.replace("[[0, 0.4], [600, 0.2]]", "[[0, 0.4, 1]]"), "0:0.4:1"),
        (TABLE.replace("[[0, 0.4], [600, 0.2]]", "[]"), "torque = [] is not a list of points"),
        (TABLE + "kit_file = 3", "has a key kit_file, which is no option"),
        (TABLE + "from = 3", "has a key from, which is no option"),
        (TABLE + "json = 3", "has a key json, which is no option"),
        (TABLE, "--wind-m-s"),
    ],
)
def test_a_table_that_cannot_be_used(shell: Shell, text: str, said: str) -> None:
    shell.write("load.toml", text)
    assert said in " ".join(refuses(shell, 2, *WORDS, "--from", "load.toml"))
