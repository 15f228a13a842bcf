"""Every option of every command: bounded, refused in one sentence of our own, never with a traceback."""

from __future__ import annotations

import contextlib
import io
import math
import re
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import click
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.bounds import BOUNDS, READINGS
from controller.cli.main import cli
from controller.cli.numbers import Number, Whole
from controller.cli.option_types import Address, CheckedText, DateAndTime, OneOf, PathName, PortName, Text
from controller.errors import InputError
from controller.numerals import number_in, whole_in
from controller.texts import MOST_TEXT
from controller.times import FIRST_YEAR, LAST_YEAR, dated, span_of, time_or_date
from tests.controller.cli.all_commands import commands

OWN = (Number, Whole, OneOf, Text, PathName, DateAndTime, CheckedText, Address, PortName)
LIBRARY = re.compile(
    r"Invalid value|No such|Missing (option|argument|parameter|command)|unexpected|Did you mean one of|is not one of|"
    r"does not take a value|requires an? argument|not a valid|Errno|Error:.*Error|\{"
)
NOT_NUMBERS = (
    "",
    " ",
    "nan",
    "inf",
    "-inf",
    "1_0",
    "\u0663",
    "\uff13",
    "1e",
    "9" * 401,
    "1e308",
    "--1",
    "1 000",
)
MOST = 1e13  # no bound is larger
NOT_TEXTS = ("", "  ", "a\nb", "a\x00b", "a\x1b[2Jb", "x" * 5000)


PARAMETERS = [
    pytest.param(names, each, id=f"{' '.join(names)} {each.opts[0]}")
    for names, command in commands()
    for each in command.params
    if not (isinstance(each, click.Option) and each.is_flag)
]


def kinds_of(parameter: click.Parameter) -> list[click.ParamType[Any]]:
    return list(parameter.type.types) if isinstance(parameter.type, click.Tuple) else [parameter.type]


def said_to(*words: str) -> str:
    """The sentence for a refused command line, without the usage lines; "" if it was accepted."""
    err = io.StringIO()
    with contextlib.redirect_stderr(err), contextlib.redirect_stdout(io.StringIO()):
        try:
            cli.main(list(words), "fullturn")
        except SystemExit as end:
            if end.code != 2:
                return ""
    lines = [line for line in err.getvalue().splitlines() if line and not re.match(r"Usage:|Try | {4}", line)]
    return "\n".join(lines)


@pytest.mark.parametrize(("names", "parameter"), PARAMETERS)
def test_every_option_is_of_a_kind_with_bounds_and_refuses_what_cannot_be_meant(
    names: tuple[str, ...], parameter: click.Parameter
) -> None:
    """No option uses one of the library's own types, whose words and bounds are not ours."""
    for kind in kinds_of(parameter):
        if isinstance(kind, Number | Whole):
            assert -MOST <= kind.low < kind.high <= MOST
            beyond = [repr(math.nextafter(bound, bound * 2)) for bound in (float(kind.high),) if bound]
            wrong = (*NOT_NUMBERS, str(round(kind.high) + 1), str(math.floor(kind.low) - 1), *beyond)
        else:
            assert isinstance(kind, OWN) or kind.name in {"pixels", "RPM:NM"}
            wrong = tuple(text for text in NOT_TEXTS if text or not getattr(kind, "may_be_empty", False))
            wrong += ("9999-12-31T23:59:59-14:00", "0001-01-01T00:00:00+14:00") * isinstance(
                kind, DateAndTime | CheckedText
            )
        for text in wrong:
            with pytest.raises(click.BadParameter) as refused:
                kind.convert(text, parameter, None)
            said = refused.value.message
            assert said.endswith((".", "?"))
            assert len(said) < 300
            assert said.isprintable()
            assert not LIBRARY.search(said)


@pytest.mark.parametrize(("names", "parameter"), PARAMETERS)
def test_a_refusal_names_its_option(names: tuple[str, ...], parameter: click.Parameter) -> None:
    """Through the whole command line, where the library would add its own words."""
    wrong = "x" * 5000
    if isinstance(parameter, click.Argument) or parameter.opts == ["--from"]:
        return  # an argument may be many words; `--from` reads its file at once
    said = said_to(*names, parameter.opts[0], *[wrong] * parameter.nargs)
    assert said.startswith(f"Error: {parameter.opts[0]}: ")
    assert "\n" not in said
    assert not LIBRARY.search(said)
    if not parameter.multiple:
        assert said_to(*names, parameter.opts[0]).startswith(f"Error: {parameter.opts[0]} needs ")


@pytest.mark.parametrize(("names", "command"), [pytest.param(*each, id=" ".join(each[0])) for each in commands()])
def test_a_command_line_that_cannot_be_parsed_is_told_in_our_words(
    names: tuple[str, ...], command: click.Command
) -> None:
    many = any(each.nargs == -1 for each in command.params)
    for words in (("--no-such-option",), ("--json=1",), ("-q",), *([] if many else [["extra"] * 9])):
        said = said_to(*names, *words)
        assert said, words
        assert not LIBRARY.search(said)


@pytest.mark.parametrize(
    "words", [("plam",), ("kit", "nwe"), ("--",), ("calibrate", "--"), ("--no",), ("--version=1",), ("x" * 999,)]
)
def test_a_command_that_does_not_exist_is_told_in_our_words(words: list[str]) -> None:
    said = said_to(*words)
    assert said.endswith((".", "?"))
    assert len(said) < 200
    assert not LIBRARY.search(said)


def test_every_bound_of_the_table_is_finite_has_a_reason_and_is_used() -> None:
    for name, bound in (BOUNDS | READINGS).items():
        assert -MOST < bound.least < bound.most < MOST, name
        assert bound.why
    sources = "".join(path.read_text(encoding="utf-8") for path in Path("controller").rglob("*.py"))
    for name in BOUNDS:
        assert re.search(rf'(bounded|bounded_whole|within)\("{name}"\)|BOUNDS\["{name}"\]|\("{name}", ', sources), name


@given(text=st.text(max_size=30) | st.from_regex(r"[-+0-9._eE٣ ]{0,12}", fullmatch=True))
@settings(max_examples=500)
def test_what_is_read_as_a_number_is_plain_decimal_and_finite(text: str) -> None:
    for value in (number_in(text), whole_in(text)):
        if value is not None:
            assert math.isfinite(value)
            assert text.strip().isascii()
            assert "_" not in text
            assert value == float(text)


@given(value=st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_as_it_is_written_is_read_again(value: float) -> None:
    read = number_in(repr(value))
    assert read == value


@given(moment=st.datetimes(), hours=st.integers(-23, 23))
def test_a_time_that_is_accepted_can_be_reckoned_with(moment: datetime, hours: int) -> None:
    """In any zone: converted to UTC and any other zone, and a year either way."""
    text = f"{moment.isoformat()}{'+' if hours >= 0 else '-'}{abs(hours):02}:00"
    try:
        read = dated(text)
    except InputError:
        assert not FIRST_YEAR <= moment.year <= LAST_YEAR
    else:
        assert time_or_date(text) == read
        for days in (-366, 366):
            assert (read + timedelta(days=days)).astimezone().timestamp() is not None


@given(number=st.floats(0, 1e9) | st.integers(0, 10**12), unit=st.sampled_from("smhd"))
def test_a_span_that_is_accepted_is_from_a_second_to_a_year(number: float, unit: str) -> None:
    text = f"{number!r}{unit}"
    try:
        span = span_of(text)
    except InputError:
        assert unit == "d" or "e" not in text or not 1 <= number <= 1e4
    else:
        assert timedelta(seconds=1) <= span <= timedelta(days=366)


@given(text=st.text(max_size=MOST_TEXT + 5))
def test_a_text_that_is_accepted_is_one_printable_line(text: str) -> None:
    try:
        kept = Text().convert(text, None, None)
    except click.BadParameter:
        assert not text.strip() or not text.isprintable() or len(text) > MOST_TEXT
    else:
        assert kept == text
        assert text.isprintable()


@pytest.mark.parametrize("group", [[], ["kit"], ["board"], ["calibrate"]], ids=" ".join)
@pytest.mark.parametrize("word", ["--json", "-x", "x", "--", ""])
def test_a_word_that_is_no_command_is_named(group: list[str], word: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Also after --, where something that looks like an option is none."""
    with pytest.raises(SystemExit) as ended:
        cli([*group, "--", word], prog_name="fullturn")
    assert ended.value.code == 2
    assert "has no command" in capsys.readouterr().err
