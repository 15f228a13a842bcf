"""No command accepts an option without an effect, and everything missing is named at once.

Every option of every command is either in the table of rules or listed here as one that always has an effect. So a new
option fails until somebody decides. Every rule is then broken on purpose, and must refuse.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import pytest

from controller.cli.command import Command, Given, Term, clause, complaints, repetitions
from controller.cli.main import cli
from controller.cli.option_rules import RULES, Rules
from controller.cli.option_types import CheckedText
from controller.times import span_of
from tests.controller.cli.all_commands import commands

ALWAYS = {
    "plan": "--out --overlap --region --nadir-by-hand --order --passes --mounted --max-frames --max-seconds",
    "rehearse": "--out --yes --pictures --seed --faults --list-faults",
    "simulate": "--kit --truth --seed --speed --faults",
    "kit find": "",
    "kit new": "--camera --pixels --out",
    "kit example": "--out",
    "kit from-picture": "--out",
    "kit loads": "--from --mass-kg --length-mm --height-mm --tilt-offset-mm --pan-offset-mm --torque --rotor-g-cm2 "
    "--gear-efficiency --total-kg --feet-radius-mm --wind-height-mm --area-m2 --wind-m-s --margin",
    "help": "--browser",
    "kit setup": "--picture --list --done --again",
    "board build": "--target --out --without --baud",
    "board find": "--baud --port",
    "board flash": "--port --programmer --programmer-port --programmer-baud --baud --yes --countdown",
    "board check": "--port --baud --yes --kit --countdown",
    "board soak": "--port --baud --seconds",
    "calibrate steps": "--axis --kit --page",
    "calibrate backlash": "--axis --from --reading-error-deg --kit --page",
    "calibrate level": "--from --leg-yaw-deg --leg-radius-mm --reading-error-deg --kit --page",
    "calibrate verify": "--from --needed-deg --reading-error-deg --kit --page",
    "calibrate centre": "--kit --focal-length-mm --pixel-um --distance-mm --first-px --second-px --u-aim-deg",
    "calibrate parallax": "--focal-length-mm --pixel-um --near-mm --u-near-mm --u-sideways-mm --pictures --nearest-mm "
    "--rail-mm --kit --page",
    "calibrate rail": "--focal-length-mm",
    "calibrate settle": "--kit --page",
    "jog": "--port --to --yes --countdown",
    "capture": "--port --out --kit --yes --countdown --ask-before-moving --skip-sweep --tether --log --repeat "
    "--pause-every --pause-every-wh",
    "resume": "--port --yes --countdown --ask-before-moving --skip-sweep --tether --log --pause-every --pause-every-wh",
    "report": "--out",
    "match": "--out --pictures",
    "align": "--yaw --pitch --yaw-only --nearest-mm --out",
    "inspect": "--out --limit --limits --calibrate",
    "doctor": "--port",
    "install-service": "--system --undo --yes",
    "page": "--port --lan --port-number --open --forget-devices",
}
"""Options that always have an effect. --json is one everywhere."""


COMMANDS = {" ".join(names): command for names, command in commands()}


def options(command: click.Command) -> dict[str, click.Option]:
    """The options of a command by their first name."""
    return {each.opts[0]: each for each in command.params if isinstance(each, click.Option)}


def clauses(rules: Rules) -> Iterator[tuple[str, str]]:
    """Every clause of a command's rules, with its term."""
    yield from (("", text) for text in rules.required)
    for table in (rules.only_with, rules.needs):
        yield from ((name, text) for name, texts in table.items() for text in texts)


def named_in(rules: Rules) -> set[str]:
    """The options that the rules restrict, not those that are only conditions."""
    return {text.split()[0] for text in (*rules.only_with, *(one for each in rules.either for one in each))}


def test_every_command_is_held_to_the_rules() -> None:
    assert {name for name, each in COMMANDS.items() if not isinstance(each, Command)} == set()
    assert set(RULES) | set(ALWAYS) <= set(COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_is_decided(name: str) -> None:
    always = set(ALWAYS.get(name, "").split())
    conditional = set(RULES.get(name, Rules()).only_with)
    ruled = named_in(RULES.get(name, Rules()))
    required = {term.name for text in RULES.get(name, Rules()).required for alt in clause(text) for term in alt}
    assert always & conditional == set()
    assert always | ruled | (required - conditional) | {"--json"} >= set(options(COMMANDS[name]))
    assert always | ruled <= set(options(COMMANDS[name]))


@pytest.mark.parametrize("name", RULES)
def test_every_term_of_a_rule_can_be_typed(name: str) -> None:
    known = options(COMMANDS[name])
    rules = RULES[name]
    terms = [term for _, text in clauses(rules) for alternative in clause(text) for term in alternative]
    terms += [term for text in (*rules.needs, *(one for each in rules.either for one in each))
              for term in clause(text)[0]]  # fmt: skip
    for term in terms:
        kind = known[term.name].type
        assert not term.value or (isinstance(kind, click.Choice) and term.value in kind.choices)


def typed(term: Term, command: click.Command, folder: Path) -> list[str]:
    """Words that meet a term, with a value that the option's type accepts."""
    option = options(command)[term.name]
    if option.is_flag:
        return [term.name]
    return [term.name, *([term.value] if term.value else values(option, folder))]


def values(option: click.Option, folder: Path) -> list[str]:
    """Values that the type of an option accepts."""
    kinds = option.type.types if isinstance(option.type, click.Tuple) else [option.type] * option.nargs
    return [_value(kind, folder) for kind in kinds]


def _value(kind: click.ParamType[Any], folder: Path) -> str:
    if isinstance(kind, click.Choice):
        return str(kind.choices[-1])
    if isinstance(kind, click.IntRange | click.FloatRange):
        return "0.25" if kind.max is not None and kind.max < 1 else str(max(int(kind.min or 0), 1))
    if isinstance(kind, click.Path):
        return str(folder / "there.txt" if kind.file_okay else folder)
    if isinstance(kind, CheckedText):
        return "1h" if kind.read is span_of else "05:30"
    return {
        "pixels": "60x40",
        "RPM:NM": "600:0.2",
        "time": "2026-06-21T05:30Z",
        "address": "localhost:7000",
    }.get(kind.name, "1")


def line_for(rules: Rules, command: click.Command, terms: list[Term], folder: Path) -> list[str]:
    """A complete command line that meets these terms."""
    words: list[str] = []
    chosen = {term.name for term in terms if not term.negative}
    for each in command.params:
        if isinstance(each, click.Argument) and each.required:
            words += [_value(each.type, folder) if not isinstance(each.type, click.Path) or each.type.file_okay
                      else str(folder)] * max(1, each.nargs)  # fmt: skip
        elif isinstance(each, click.Option) and each.required and each.opts[0] not in chosen:
            words += typed(Term(each.opts[0]), command, folder)
    for term in terms:
        if not term.negative and term.name not in words:
            words += typed(term, command, folder)
    return words


def said(name: str, words: list[str]) -> str:
    """What the rules say about a command line; "" if nothing is wrong."""
    command = COMMANDS[name]
    context = click.Context(command, info_name=name)
    required = [each for each in command.params if each.required]
    click.Command.parse_args(command, context, list(words))
    assert all(each.required for each in required)
    return "\n".join(complaints(RULES.get(name, Rules()), Given(context)))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "there.txt").write_text("mass_kg = 1\n", encoding="utf-8")
    return tmp_path


CONDITIONS = [(name, option, text) for name, rules in RULES.items() for option, texts in rules.only_with.items()
              for text in texts]  # fmt: skip


@pytest.mark.parametrize(("name", "option", "text"), CONDITIONS)
def test_every_condition_refuses_when_it_is_not_met(name: str, option: str, text: str, folder: Path) -> None:
    """The option alone, or with whatever takes its effect away. The refusal may list other gaps as well."""
    against = [Term(term.name, term.value) for each in clause(text) for term in each if term.negative]
    words = line_for(RULES[name], COMMANDS[name], [Term(option), *against], folder)
    sentences = said(name, words).splitlines()
    assert any(option in line and ("no effect" in line or line.startswith("Give ")) for line in sentences), sentences


NEEDS = [(name, head, text) for name, rules in RULES.items() for head, texts in rules.needs.items() for text in texts]


@pytest.mark.parametrize(("name", "head", "text"), NEEDS)
def test_every_need_refuses_when_it_is_not_met(name: str, head: str, text: str, folder: Path) -> None:
    words = line_for(RULES[name], COMMANDS[name], [clause(head)[0][0]], folder)
    wanted = clause(text)[0][0]
    assert wanted.name in said(name, words)


@pytest.mark.parametrize(("name", "option"), dict.fromkeys((name, option) for name, option, _ in CONDITIONS))
def test_every_option_with_conditions_is_accepted_once_they_are_met(name: str, option: str, folder: Path) -> None:
    """So no rule excludes an option for good. Conditions with further conditions are met as well."""
    rules = RULES[name]
    terms, met = [Term(option)], False
    for _ in range(9):
        words = line_for(rules, COMMANDS[name], terms, folder)
        context = click.Context(COMMANDS[name], info_name=name)
        click.Command.parse_args(COMMANDS[name], context, list(words))
        given = Given(context)
        wanted = [
            text for head, text in clauses(rules) if (not head or given.holds(clause(head)[0][0])) and given.unmet(text)
        ]
        met = not wanted
        if met:
            break
        terms += [term for term in given.unmet(wanted[0])[0] if not term.negative]
    assert met
    assert said(name, words) == ""


@pytest.mark.parametrize(("name", "terms"), [(name, terms) for name, each in RULES.items() for terms in each.either])
def test_what_excludes_each_other_is_refused_together(name: str, terms: tuple[str, ...], folder: Path) -> None:
    for other in terms[1:]:
        pair = [clause(text)[0][0] for text in (terms[0], other)]
        assert f"Give {terms[0]} or {other}, not both." in said(name, line_for(RULES[name], COMMANDS[name], pair, folder))


@pytest.mark.parametrize("name", COMMANDS)
def test_everything_missing_is_named_at_once(name: str) -> None:
    command = COMMANDS[name]
    wanted = [each for each in command.params if each.required]
    if not wanted:
        return
    context = click.Context(cli, info_name="fullturn")
    for part in name.split()[:-1]:
        above = context.command
        assert isinstance(above, click.Group)
        context = click.Context(above.commands[part], info_name=part, parent=context)
    with pytest.raises(click.UsageError) as refusal:
        command.make_context(name.rsplit(maxsplit=1)[-1], [], parent=context)
    for each in wanted:
        assert (each.opts[0] if isinstance(each, click.Option) else each.human_readable_name) in refusal.value.message
    assert all(each.required for each in wanted)  # unchanged for the next command line and for the help


@pytest.mark.parametrize("name", COMMANDS)
def test_a_default_is_not_an_option_that_was_given(name: str, folder: Path) -> None:
    rules = RULES.get(name, Rules())
    words = line_for(rules, COMMANDS[name], [], folder)
    assert "no effect" not in said(name, words)


def test_what_a_file_of_options_gives_counts_as_given(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A default map, as `--from` of `kit loads` fills it: its values are neither missing nor exempt from conditions."""
    command = COMMANDS["kit loads"]
    context = click.Context(command, info_name="loads")
    file, required = str(folder / "there.txt"), [each for each in command.params if each.required]
    with monkeypatch.context() as patch:
        for each in required:
            patch.setattr(each, "required", False)
        click.Command.parse_args(command, context, [file, "--from", file])
    missing, sentence = complaints(Rules(only_with={"--mass-kg": ("--margin",)}), Given(context))
    assert "--mass-kg" not in missing
    assert "--length-mm" in missing
    assert "--mass-kg has no effect without --margin" in sentence


@pytest.mark.parametrize("name", COMMANDS)
def test_an_option_given_twice_is_refused(name: str, folder: Path) -> None:
    """The first of the two would have no effect."""
    command = COMMANDS[name]
    for first, option in options(command).items():
        words = line_for(RULES.get(name, Rules()), command, [Term(first)], folder)
        if first not in {"--help", "--list-faults"}:
            words += typed(Term(first), command, folder)
            repeated = "\n".join(repetitions(command, click.Context(command), words))
            assert (f"{first} is given more" in repeated.replace(" or --link", "")) is not option.multiple


@pytest.mark.parametrize("name", COMMANDS)
def test_the_help_names_what_is_required(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    command = COMMANDS[name]
    with pytest.raises(click.exceptions.Exit):
        command.make_context(name, ["--help"])
    said = " ".join(capsys.readouterr().out.split())
    for each in command.params:
        if isinstance(each, click.Argument) and each.required:
            assert f"[{each.human_readable_name}]..." in said or f"[{each.human_readable_name}]" not in said
    assert said.count("required]") == sum(each.required for each in command.params if isinstance(each, click.Option))
