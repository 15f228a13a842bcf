"""The `fullturn calibrate` group: options only; the work is imported when it runs."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from controller.shared_options import FILE, json_option, show

if TYPE_CHECKING:
    from controller.commands.calibrate import Keeping, Kept

axis_option = click.option("--axis", type=click.Choice(["pan", "tilt"]), required=True, help="Which axis.")
from_option = click.option("--from", "readings", type=FILE, help="Readings from this CSV file, instead of asking.")
KEEPING_OPTIONS = (
    click.option("--kit", type=FILE, help="The kit this belongs to; without one nothing is stored."),
    click.option("--dry", is_flag=True, help="Store nothing."),
    click.option("--with", "with_what", default="", metavar="TEXT", help="What it was measured with, for the record."),
    click.option("--page", type=click.Path(dir_okay=False, path_type=Path), help="Write a page with the plots."),
    json_option,
)


def keeping_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give `command` the options that say what becomes of its finding: kit, dry, with_what, page, as_json."""
    for option in reversed(KEEPING_OPTIONS):
        command = option(command)
    return command


def keeping_of(options: dict[str, Any]) -> "Keeping":
    """What those options say."""
    from controller.commands.calibrate import Keeping  # noqa: PLC0415

    return Keeping(options["kit"], options["dry"], options["with_what"], options["page"])


def show_kept(kept: "Kept", as_json: bool) -> None:
    """Print a finding and what became of it."""
    show(kept.as_json() if as_json else kept.text())


@click.group()
def calibrate() -> None:
    """Measure the head and the lens, with how sure each result is, and keep the records."""


kit_argument = click.argument("kit", type=FILE)
id_argument = click.argument("record_id", metavar="[ID]", type=click.IntRange(1), required=False)


@calibrate.command("list")
@kit_argument
@json_option
def list_records(kit: Path, as_json: bool) -> None:
    """List the records of a KIT: when, what, how sure, and whether it counts."""
    from controller.commands.calibrate import list_command  # noqa: PLC0415

    listed = list_command(kit)
    if as_json:
        show([each.as_json() for each in listed])
    else:
        show("\n".join(each.line() for each in listed) or "Nothing was calibrated yet.")


@calibrate.command("show")
@kit_argument
@id_argument
@json_option
def show_record(kit: Path, record_id: int | None, as_json: bool) -> None:
    """Show all of one record of a KIT, the newest without ID."""
    from controller.commands.calibrate import record_text, show_command  # noqa: PLC0415

    listed = show_command(kit, record_id)
    show(listed.as_json() if as_json else record_text(listed))


@calibrate.command("undo")
@kit_argument
@id_argument
@json_option
def undo_record(kit: Path, record_id: int | None, as_json: bool) -> None:
    """Mark a record of a KIT as undone, the newest without ID. It stays in the file but no longer counts."""
    from controller.commands.calibrate import undo_command  # noqa: PLC0415

    listed = undo_command(kit, record_id)
    show(listed.as_json() if as_json else listed.line())
