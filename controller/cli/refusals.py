"""What users read if a command line cannot be parsed: every sentence of click's, in our own words."""

from difflib import get_close_matches

import click

from controller.quantity import quoted


def worded(error: click.UsageError, context: click.Context | None) -> click.UsageError:
    """The same refusal in our words. A refusal that is already ours is returned unchanged."""
    context = error.ctx or context
    sentence = _sentence(error, context)
    return error if sentence is None else click.UsageError(sentence, context)


def _sentence(error: click.UsageError, context: click.Context | None) -> str | None:
    where = f"`{context.command_path}`" if context is not None else "This command"
    match error:
        case click.MissingParameter():
            return f"{_named(error.param, error.param_hint)} is missing. Add it."
        case click.BadParameter():
            return f"{_named(error.param, error.param_hint)}: {error.message}"
        case click.NoSuchOption():
            return f"{where} has no option {quoted(error.option_name)}. {_meant(error.possibilities, context)}"
        case click.BadOptionUsage():
            return _values(error.option_name, context)
        case click.BadArgumentUsage():
            return f"{where} has too few words. {_meant(None, context)}"
    return None


def _named(parameter: click.Parameter | None, hint: object) -> str:
    if isinstance(parameter, click.Option):
        return " or ".join((*parameter.opts, *parameter.secondary_opts))
    if isinstance(parameter, click.Argument):
        return parameter.human_readable_name.strip("[]")
    return str(hint or "What was typed")


def _meant(possibilities: list[str] | None, context: click.Context | None) -> str:
    if possibilities:
        return f"Did you mean {' or '.join(sorted(possibilities))}?"
    return f"`{context.command_path} --help` lists what there is." if context is not None else "See --help."


def _values(name: str, context: click.Context | None) -> str:
    """How many values an option takes."""
    found = [each for each in (context.command.params if context else []) if name in (*each.opts, *each.secondary_opts)]
    option = found[0] if found else None
    if not isinstance(option, click.Option) or option.is_flag or option.count:
        return f"{name} takes no value. Write {name} alone."
    count = option.nargs
    return (
        f"{name} needs {'a value' if count == 1 else f'{count} values'} after it. Add {'it' if count == 1 else 'them'}."
    )


def no_command(word: str, known: list[str], context: click.Context) -> str:
    """The sentence for a command that does not exist."""
    near = get_close_matches(word, known)
    return f"`{context.command_path}` has no command {quoted(word)}. {_meant(near, context)}"


def too_many(words: list[str], context: click.Context) -> str:
    """The sentence for words that no argument takes."""
    takes = " ".join(part for part in context.command.collect_usage_pieces(context) if not part.startswith("[OPT"))
    listed = " and ".join(map(quoted, words[:3])) + (f" and {len(words) - 3} more" if len(words) > 3 else "")
    wanted = f"It takes {takes} and options" if takes else "It takes options only"
    return f"`{context.command_path}` does not know what to do with {listed}. {wanted}. Leave the rest out."


NO_COMMAND = "Name a command: `{path} --help` lists them."
