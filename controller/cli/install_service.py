"""`fullturn install-service`: its options, what it shows first, and its question."""

from pathlib import Path

import click

from controller.cli.command import Command
from controller.cli.later import later
from controller.cli.numbers import bounded_whole
from controller.cli.option_types import PortName
from controller.cli.shared_options import FOLDER, PORT_HELP, confirmed, json_option, lan_option, say, show
from controller.errors import InputError
from controller.extras import must_have

with later():
    from controller.commands import install_service as service_work

NOTHING = "Nothing was written or run; --yes does it."


@click.command("install-service", cls=Command, short_help="Start the page with the computer, by systemd.")
@click.argument("folder", type=FOLDER, required=False)
@click.option("--port", type=PortName(), help="The head's port, which gets a lasting name. " + PORT_HELP)
@lan_option
@click.option(
    "--port-number",
    type=bounded_whole("port_number"),
    default=8360,
    show_default=True,
    help="The TCP port to serve at.",
)
@click.option("--system", is_flag=True, help="Make it a service of the system; needs root. Else it is your own.")
@click.option("--undo", is_flag=True, help="Take away what this command wrote, and nothing else.")
@click.option("--yes", is_flag=True, help="Do what is shown, without asking.")
@json_option
def install_service(
    folder: Path | None,
    port: str | None,
    lan: bool,
    port_number: int,
    system: bool,
    undo: bool,
    yes: bool,
    as_json: bool,
) -> None:
    """Serve the page of FOLDER whenever this computer is on, and give the board's port a lasting name.

    It shows which files it would write and which commands it would run, and asks. What needs root is
    printed as a line to type.
    """
    machine = service_work.Machine.here()
    if undo:
        if folder is not None:
            raise InputError("--undo takes away the one service there is. Leave the folder out.")
        work = service_work.work_to_undo(machine, system=system)
    else:
        if folder is None:
            raise InputError("Name the folder that the service is to serve.")
        must_have("page", "The page")
        work = service_work.work_to_install(machine, folder, port, lan=lan, port_number=port_number, system=system)
    if not as_json:
        show(service_work.work_text(work) or "There is nothing to take away.")
    done = not work.is_nothing and confirmed("Do this?", yes=yes)
    if done:
        service_work.do_work(work, service_work.run_command_of_system)
    if as_json:
        show(work.as_json(done=done))
    elif not work.is_nothing:
        say("Done." if done else NOTHING)
