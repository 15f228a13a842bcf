"""`fullturn completion`: a script with which a shell completes commands, options and files."""

import click

from controller.cli.command import Command
from controller.cli.later import later
from controller.cli.option_types import OneOf
from controller.cli.shared_options import show

with later():
    from click import shell_completion

SHELLS = ("bash", "zsh", "fish")


@click.command(cls=Command, short_help="Print what completes commands and options in a shell.")
@click.argument("shell", type=OneOf(SHELLS))
@click.pass_context
def completion(context: click.Context, shell: str) -> None:
    r"""Print a script that lets a SHELL complete commands, options and file names by the Tab key.

    \b
    bash: put this into ~/.bashrc:  eval "$(fullturn completion bash)"
    zsh:  put this into ~/.zshrc:   eval "$(fullturn completion zsh)"
    fish: fullturn completion fish > ~/.config/fish/completions/fullturn.fish
    """
    root = context.find_root()
    kind = shell_completion.get_completion_class(shell)
    assert kind is not None
    show(kind(root.command, {}, "fullturn", "_FULLTURN_COMPLETE").source())
