"""The options of `fullturn rehearse` for pictures."""

from typing import TYPE_CHECKING, Any

import click

from controller.cli.later import later
from controller.cli.numbers import bounded
from controller.cli.shared_options import FILE, OUTPUT_FOLDER, with_options

with later():
    from controller.commands import pictures as pictures_work

if TYPE_CHECKING:
    from controller.commands.pictures import Darkroom

OPTIONS = (
    click.option("--pictures", type=OUTPUT_FOLDER,
                 help="An empty or new folder for a photograph of what each exposure would have seen."),
    click.option("--scale", type=bounded("scale"),
                 help="Their size relative to the camera's own; without it the long side has about 1000 pixels."),
    click.option("--scenery", type=FILE,
                 help="An equirectangular picture to stand in, in place of the invented one."),
    click.option("--pupil-offset-mm", type=(bounded("pupil_offset_mm"), bounded("pupil_offset_mm")),
                 metavar="AHEAD RIGHT", help="Where the lens's no-parallax point lies, seen from where the head turns."),
)  # fmt: skip


picture_options = with_options(OPTIONS)
"""Adds the options above to a command."""


def darkroom_for(options: dict[str, Any]) -> "Darkroom | None":
    """The renderer of the requested pictures, None if none were requested."""
    if options["pictures"] is None:
        return None

    return pictures_work.Darkroom(
        options["pictures"], options["scale"], options["scenery"], options["pupil_offset_mm"] or (0.0, 0.0)
    )
