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
                 help="A new or empty folder for a simulated photograph of each exposure."),
    click.option("--scale", type=bounded("scale"),
                 help="Their size relative to the camera's own; default: about 1000 pixels on the long side."),
    click.option("--scenery", type=FILE,
                 help="An equirectangular picture as scenery, instead of the invented one."),
    click.option("--pupil-offset-mm", type=(bounded("pupil_offset_mm"), bounded("pupil_offset_mm")),
                 metavar="AHEAD RIGHT", help="Offset of the lens's no-parallax point from the head's axes."),
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
