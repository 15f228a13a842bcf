"""Commands that refuse options without an effect, and name everything missing at once.

All dependencies are in one table, `option_rules.py`; only `complaints` reads it. A default never counts as given; a value
from a file of options (`--from` of `kit loads`) does.

A rule is a clause in words. "--region band or --region window" is met if either is given, "--latitude and --longitude" if
both are, "no --from" if it is not. `and` binds tighter than `or`. A default can meet a term with a value.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import click
from click.core import ParameterSource

from controller.cli.headings import under_headings
from controller.cli.option_rules import RULES, Rules
from controller.cli.refusals import NO_COMMAND, no_command, too_many, worded

NOT_GIVEN = {None, ParameterSource.DEFAULT}


@dataclass(frozen=True, slots=True)
class Term:
    """`--name`, `--name value` or `no --name`."""

    name: str
    value: str = ""
    negative: bool = False

    @property
    def text(self) -> str:
        """As typed, without the `no`."""
        return f"{self.name} {self.value}".strip()


def clause(text: str) -> list[list[Term]]:
    """A clause as alternatives, each a list of terms that must all be met."""
    return [[_term(term) for term in alternative.split(" and ")] for alternative in text.split(" or ")]


def _term(text: str) -> Term:
    negative, words = text.startswith("no "), text.removeprefix("no ").split()
    return Term(words[0], " ".join(words[1:]), negative)


class Given:
    """What a command received: from the command line, or from a file of options."""

    def __init__(self, context: click.Context) -> None:
        self._context = context
        self._named = {name: each for each in context.command.params for name in (*each.opts, *each.secondary_opts)}

    def holds(self, term: Term) -> bool:
        """Whether a term is met."""
        parameter = self._named[term.name]
        value = self._context.params.get(str(parameter.name))
        met = value == term.value if term.value else self.has(parameter)
        return met is not term.negative

    def has(self, parameter: click.Parameter) -> bool:
        """Whether a parameter was given; a switch that a file of options sets to false was not."""
        name = str(parameter.name)
        if self._context.get_parameter_source(name) in NOT_GIVEN:
            return False
        switch = isinstance(parameter, click.Option) and parameter.is_flag and not parameter.secondary_opts
        return not (switch and self._context.params.get(name) is False)

    def unmet(self, text: str) -> list[list[Term]]:
        """The terms still unmet in the nearest alternatives of a clause; empty if it is met."""
        left = [[term for term in alternative if not self.holds(term)] for alternative in clause(text)]
        if not all(left):
            return []
        begun = [terms for terms, all_terms in zip(left, clause(text), strict=True) if len(terms) < len(all_terms)]
        return begun or left

    def typed(self, name: str) -> str:
        """An option as typed: for a pair like --copy/--link, the one that was used."""
        parameter = self._named[name]
        off = parameter.secondary_opts and self._context.params.get(str(parameter.name)) is False
        return parameter.secondary_opts[0] if off else name

    def missing(self) -> list[str]:
        """The missing required parameters, as they are typed."""
        params = self._context.command.params
        return [_named(each) for each in params if each.required and self._is_empty(each)]

    def _is_empty(self, parameter: click.Parameter) -> bool:
        return self._context.params.get(str(parameter.name)) in {None, ()}


def _named(parameter: click.Parameter) -> str:
    if isinstance(parameter, click.Argument):
        return parameter.human_readable_name
    if isinstance(parameter.type, click.Choice):
        return f"{parameter.opts[0]} {'|'.join(map(str, parameter.type.choices))}"
    return parameter.opts[0]


def complaints(rules: Rules, given: Given) -> Iterator[str]:
    """A sentence for everything that is missing, contradictory or without effect."""
    missing = given.missing()
    if missing:
        yield f"{listed(missing)} {'is' if len(missing) == 1 else 'are'} missing. Add {_it(missing)}."
    for text in rules.required:
        if unmet := given.unmet(text):
            yield f"{_alternatives(unmet)} is missing. Add one of them."
    clashes = [both for terms in rules.either if len(both := [text for text in terms if given.holds(_term(text))]) > 1]
    idle = _without_effect(rules, given, {name for both in clashes for name in both})
    yield from _wanting(rules, given, idle)
    for both in clashes:
        yield f"Give {' or '.join(both)}, not {'both' if len(both) == 2 else 'more than one of them'}."
    idle_by: dict[str, list[str]] = {}
    for name, unmet in idle.items():
        idle_by.setdefault(str(unmet), []).append(name)
    for names in idle_by.values():
        yield _idle_sentence([given.typed(name) for name in names], idle[names[0]])


def _wanting(rules: Rules, given: Given, idle: Mapping[str, object]) -> Iterator[str]:
    wanting: dict[str, list[str]] = {}
    for name, clauses in rules.needs.items():
        if name not in idle and given.holds(_term(name)):
            for text in clauses:
                if unmet := given.unmet(text):
                    wanting.setdefault(_alternatives(unmet), []).append(name)
    for wanted, names in wanting.items():
        yield f"{listed(names)} {'needs' if len(names) == 1 else 'need'} {wanted}. Add what is missing."


def _without_effect(rules: Rules, given: Given, clashing: set[str]) -> dict[str, list[list[Term]]]:
    """The options without effect, each with the terms that it needs."""
    idle = {}
    for name, clauses in rules.only_with.items():
        if name not in clashing and given.holds(Term(name)):
            unmet = next((left for text in clauses if (left := given.unmet(text))), None)
            if unmet is not None:
                idle[name] = unmet
    return idle


def _idle_sentence(names: list[str], unmet: list[list[Term]]) -> str:
    have = "have" if len(names) > 1 else "has"
    against = [term.text for terms in unmet for term in terms if term.negative]
    wanted = [terms for terms in unmet if not any(term.negative for term in terms)]
    if not wanted:
        return f"{listed(names)} {have} no effect with {listed(against)}. Leave out one or the other."
    begin = f"With {listed(against)}, {listed(names)}" if against else listed(names)
    add = _alternatives(wanted)
    return f"{begin} {have} no effect without {add}. Add {add}, or leave {listed(names)} out."


def _alternatives(unmet: Sequence[Sequence[Term]]) -> str:
    several = any(len(terms) > 1 for terms in unmet)
    return (", or " if several else " or ").join(dict.fromkeys(listed([term.text for term in terms]) for terms in unmet))


def listed(words: Sequence[str]) -> str:
    """Words as a list in a sentence: a, b and c."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def _it(words: Sequence[str]) -> str:
    return "it" if len(words) == 1 else "them"


class _Helped(click.Command):
    def get_help_option_names(self, ctx: click.Context) -> list[str]:
        """The same names for every caller: click caches the option that it made first."""
        del ctx
        return ["-h", "--help"]


class Command(_Helped):
    """A command that checks its options against its rules, and lists them under headings."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the options for `--help`, heading by heading."""
        for heading, options in under_headings(path_of(ctx), self.get_params(ctx)):
            records = [record for each in options if (record := each.get_help_record(ctx)) is not None]
            with formatter.section(heading):
                formatter.write_dl(records)

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Parse, then refuse what is missing, repeated or without effect. Raises click.UsageError in our words."""
        if ctx.resilient_parsing:  # a shell is completing an incomplete line
            return super().parse_args(ctx, args)
        try:
            return self._parsed(ctx, args)
        except click.UsageError as error:
            raise worded(error, ctx) from None

    def _parsed(self, ctx: click.Context, args: list[str]) -> list[str]:
        words = list(args)
        ctx.allow_extra_args = True  # so that we report them, and not the parser in its own words
        try:
            rest = super().parse_args(ctx, args)
        except click.MissingParameter:  # it stops at the first; others may be missing as well
            ctx.params.clear()
            rest = self._without_required(ctx, list(words))
        extra = [too_many(ctx.args, ctx)] if ctx.args else []
        wrong = [*extra, *repetitions(self, ctx, words), *complaints(RULES.get(path_of(ctx), Rules()), Given(ctx))]
        if wrong:
            ctx.close()  # an option may have opened a file
            raise click.UsageError("\n".join(wrong), ctx)
        return rest

    def _without_required(self, ctx: click.Context, args: list[str]) -> list[str]:
        required = [each for each in self.params if each.required]
        for each in required:
            each.required = False
        try:
            return super().parse_args(ctx, args)
        finally:
            for each in required:
                each.required = True


def repetitions(command: click.Command, context: click.Context, words: list[str]) -> Iterator[str]:
    """A sentence for each option that was given twice: the first would have no effect."""
    _, _, order = command.make_parser(context).parse_args(args=list(words))
    for each in dict.fromkeys(order):
        if isinstance(each, click.Option) and not each.multiple and not each.count and order.count(each) > 1:
            yield f"{' or '.join((*each.opts, *each.secondary_opts))} is given more than once. Give it once."


class CommandGroup(_Helped, click.Group):
    """A group of such commands."""

    command_class = Command
    group_class = type

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Parse. Raises click.UsageError in our words."""
        try:
            return super().parse_args(ctx, args)
        except click.UsageError as error:
            raise worded(error, ctx) from None

    def resolve_command(self, ctx: click.Context, args: list[str]) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command. Raises click.UsageError in our words."""
        name = args[0]  # click removes it from the list if it looks like an option
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError:
            raise click.UsageError(no_command(name, self.list_commands(ctx), ctx), ctx) from None

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command that was named. Raises click.UsageError."""
        if not ctx.invoked_subcommand and not (ctx._protected_args or ctx.args):
            raise click.UsageError(NO_COMMAND.format(path=ctx.command_path), ctx)
        return super().invoke(ctx)


def path_of(context: click.Context) -> str:
    """A command's name with its groups, without the program's own name: "kit find"."""
    names: list[str] = []
    at: click.Context | None = context
    while at is not None and at.parent is not None:
        names.insert(0, str(at.command.name))
        at = at.parent
    return " ".join(names)
