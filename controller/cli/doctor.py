"""`fullturn doctor` and `fullturn version`: their options, and how they are printed."""

from pathlib import Path

import click

from controller.cli.command import Command
from controller.cli.later import later
from controller.cli.option_types import PortName
from controller.cli.shared_options import FOLDER, PORT_HELP, json_option, show

with later():
    from controller.commands import doctor as doctor_work
    from controller.commands import version as version_work
    from controller.doctor import findings as doctor_findings
    from controller.page import devices as page_devices


@click.command(cls=Command, short_help="Look at this computer, and say what to do.")
@click.argument("folder", type=FOLDER, default=".")
@click.option("--port", type=PortName(), help="Look at this port only. " + PORT_HELP)
@json_option
def doctor(folder: Path, port: str | None, as_json: bool) -> None:
    """Check whether this computer is fit for a run with sessions in FOLDER; the default is the folder you are in.

    No port is opened and nothing moves. One small file is written into FOLDER and removed again. The exit status is 1
    if something is wrong.
    """
    found = doctor_work.doctor_command(folder, port)
    show(found.as_json() if as_json else doctor_work.doctor_text(found))
    if found.worst is doctor_findings.CheckState.WRONG:
        raise SystemExit(1)


@click.command(cls=Command, short_help="Print the versions of everything, for a report of trouble.")
@json_option
def version(as_json: bool) -> None:
    """Print the versions of the program, of Python, of all packages and of all formats.

    It names no person: your home folder is printed as ~.
    """
    found = version_work.version_command(page_devices.DEVICES_VERSION)
    show(found.as_json() if as_json else found.text())
