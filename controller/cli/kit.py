"""The `fullturn kit` group: its options, and how results are printed."""

import re
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from controller.bounds import BOUNDS
from controller.cli.command import CommandGroup
from controller.cli.later import later
from controller.cli.numbers import bounded
from controller.cli.option_types import PortName, Text
from controller.cli.shared_options import FILE, OUTPUT, PORT_HELP, confirmed, countdown_option, json_option, show
from controller.numerals import number_in, whole_in
from controller.quantity import quoted
from controller.reading import LOADS, read_toml, refuse
from controller.shown import shown
from controller.system.chosen import terminals

with later():
    from controller.cli import terminal
    from controller.commands import kit as kit_work
    from controller.commands import kit_find, kit_new, kit_setup
    from controller.kit import schema as kit_schemas
    from controller.kit import search as kit_search
    from controller.report import kit_loads
    from controller.setup import standing as setup_standing

NOT_STATED = (
    "Its head is not stated yet: the lines that begin with # are examples. State your own head's figures there, then "
    "run `fullturn kit check {out}`."
)


class Pixels(click.ParamType[tuple[int, int]]):
    """Two whole numbers like 6016x4016."""

    name = "pixels"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> tuple[int, int]:
        """Convert. Fails like any click type."""
        wide, high = (whole_in(part) for part in str(value).casefold().partition("x")[::2])
        if wide is None or high is None or wide <= 0 or high <= 0:
            numbers = re.findall(r"[0-9]{1,9}", str(value))
            advice = f"Write {numbers[0]}x{numbers[1]}" if len(numbers) == 2 else "Write it like 6016x4016"
            self.fail(f"{quoted(str(value))} is not width and height in pixels. {advice}.", param, ctx)
        for bound, count in ((BOUNDS["pixels_wide"], wide), (BOUNDS["pixels_high"], high)):
            if not bound.holds(count):
                self.fail(f"{quoted(str(value))} cannot be used. Give {bound.least} to {bound.most} each.", param, ctx)
        return wide, high


@click.group(cls=CommandGroup, short_help="Find cameras and lenses, write a kit, check it.")
def kit() -> None:
    """Find cameras and lenses, write a kit without typing numbers, and check what follows from it."""


@kit.command()
@click.argument("words", nargs=-1, type=Text(), required=True)
@click.option("--cameras", is_flag=True, help="Cameras only.")
@click.option("--lenses", is_flag=True, help="Lenses only.")
@click.option("--all", "every", is_flag=True, help="List all matches, not only the closest 20; --json lists all.")
@json_option
def find(words: tuple[str, ...], cameras: bool, lenses: bool, every: bool, as_json: bool) -> None:
    """Search the open lens data for names that contain all WORDS (lensfun project, CC BY-SA 3.0).

    Spaces, hyphens and upper case do not matter: z7 finds "Z 7". The closest names come first.
    """
    found = kit_find.find_command(list(words), ("camera",) if cameras else ("lens",) if lenses else ("camera", "lens"))
    show([asdict(entry) for entry in found] if as_json else kit_search.found_text(found, every=every))


@kit.command()
@click.option("--camera", type=Text(), required=True, help="Exact name of the camera, as `kit find` prints it.")
@click.option("--lens", type=Text(), help="Exact name of the lens; default: a rectilinear lens of --focal-length-mm.")
@click.option(
    "--pixels",
    type=Pixels(),
    metavar="WIDExHIGH",
    required=True,
    help="Size of a full-size picture: 6016x4016.",
)
@click.option(
    "--focal-length-mm", type=bounded("focal_length_mm"), help="Focal length of a zoom, or if no lens is named."
)
@click.option("--out", type=OUTPUT, required=True, help="The kit to write.")
@json_option
def new(
    camera: str, lens: str | None, pixels: tuple[int, int], focal_length_mm: float | None, out: Path, as_json: bool
) -> None:
    """Write a commented kit file. Only exact names are accepted: a similar one may have another sensor."""
    kit_made = kit_new.new_command(out, camera, lens, pixels, focal_length_mm)
    text = f"The kit is in {out}. {NOT_STATED.format(out=out)}"
    show({"out": str(out), "kit": kit_made.model_dump(mode="json")} if as_json else text)


@kit.command()
@click.option("--out", type=OUTPUT, required=True, help="The kit to write.")
@json_option
def example(out: Path, as_json: bool) -> None:
    """Write the kit of the tutorial. Its camera and head are invented: plan, rehearse and practise with it."""
    kit_made = kit_new.example_command(out)
    text = f"The example kit is in {out}. Its camera and head are invented: use it to practise, not to move a real head."
    show({"out": str(out), "kit": kit_made.model_dump(mode="json")} if as_json else text)


@kit.command("from-picture")
@click.argument("picture", type=FILE)
@click.option("--out", type=OUTPUT, help="A kit to write.")
@json_option
def from_picture(picture: Path, out: Path | None, as_json: bool) -> None:
    """Read camera, lens, focal length and pixels from a PICTURE's EXIF, and list what it lacks."""
    found = kit_new.from_picture_command(picture, out)
    if as_json:
        show(asdict(found))
        return
    shot = found.shot
    lines = [kit_search.entry_text(entry) for entry in (found.camera, found.lens) if entry is not None]
    focal = "" if shot.focal_length_mm is None else f", {shot.focal_length_mm:g} mm"
    turned = "" if shot.orientation == 1 else f", orientation {shot.orientation}"
    taken = "" if shot.taken is None else f", {shot.taken}"
    lines.append(f"picture  {shot.pixels[0]} x {shot.pixels[1]} pixels{focal}{turned}{taken}")
    if found.crop is not None:
        lines.append(f"sensor   crop factor {found.crop.factor:.3g}, by {found.crop.source}")
    written = [] if out is None else [f"The kit is in {out}. {NOT_STATED.format(out=out)}"]
    show("\n".join([*lines, *found.unknown, *written]))


@kit.command()
@click.argument("kit_file", metavar="KIT", type=FILE)
@json_option
def check(kit_file: Path, as_json: bool) -> None:
    """Show what follows from a KIT: fields of view, pixels, focus, steps, waits, calibration.

    Each figure has its source: stated in the kit, measured by `fullturn calibrate`, looked up in the open lens
    data, or an example, which is a default that describes no real head or camera.
    """
    lines = kit_work.check_command(kit_file)
    if as_json:
        show([line.as_json() for line in lines])
        return
    width = max(len(line.what) for line in lines)
    show("\n".join(line.text(width) for line in lines))


class TorqueAt(click.ParamType[tuple[float, float]]):
    """A point of a motor's curve like 600:0.2, rpm and newton metres."""

    name = "RPM:NM"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> tuple[float, float]:
        """Convert. Fails like any click type."""
        rpm, torque_nm = (number_in(part) for part in str(value).partition(":")[::2])
        if rpm is None or torque_nm is None:
            self.fail(f"{quoted(str(value))} is not like 600:0.2.", param, ctx)
        for name, number in (("rpm", rpm), ("torque_nm", torque_nm)):
            if not (bound := BOUNDS[name]).holds(number):
                self.fail(f"{quoted(str(value))}: {number:g} is out of range. Give a number {bound.text()}.", param, ctx)
        return rpm, torque_nm


def _fill_in(context: click.Context, _: click.Parameter, path: Path | None) -> None:
    """Read a file of options, as if the missing ones had been typed."""
    if path is None:
        return
    given: dict[str, Any] = {}
    options = {name.lstrip("-").replace("-", "_"): each for each in _options(context.command) for name in each.opts}
    for key, value in read_toml(path, LOADS).items():
        if key not in options:
            refuse(path, LOADS, f"has a key {shown(key)}, which is no option")
        name = options[key].name
        assert name is not None
        given[name] = _as_typed(value, path, key, many=options[key].multiple)
    context.default_map = given


def _options(command: click.Command) -> list[click.Option]:
    """The options with a numeric value."""
    return [each for each in command.params if isinstance(each, click.Option) and each.expose_value and not each.is_flag]


def _as_typed(value: Any, path: Path, key: str, *, many: bool) -> str | list[str]:
    """A value of the table in the form in which it would be typed. Raises InputError."""
    if not many:
        if isinstance(value, bool) or not isinstance(value, int | float):
            refuse(path, LOADS, f"{key} = {shown(str(value))} is not a number")
        return str(value)
    points = value if isinstance(value, list) else []
    if not points or not all(isinstance(each, list) for each in points):
        refuse(path, LOADS, f"{key} = {shown(str(value))} is not a list of points, as in [[0, 0.6], [600, 0.3]]")
    return [":".join(map(str, point)) for point in points]


@kit.command()
@click.argument("kit_file", metavar="KIT", type=FILE)
@click.option(
    "--from",
    "table",
    type=FILE,
    is_eager=True,
    expose_value=False,
    callback=_fill_in,
    help="A TOML file with these options as keys: mass_kg = 3.2, torque = [[0, 0.6], [600, 0.3]].",
)
@click.option("--mass-kg", type=bounded("mass_kg"), required=True, help="Mass of everything that the head turns.")
@click.option("--length-mm", type=bounded("length_mm"), required=True, help="Length of that load along the lens.")
@click.option(
    "--height-mm", type=bounded("height_mm"), required=True, help="Height of that load; its width counts as the same."
)
@click.option(
    "--tilt-offset-mm",
    type=bounded("tilt_offset_mm"),
    required=True,
    help="Distance of the centre of mass from the tilt axis.",
)
@click.option(
    "--pan-offset-mm",
    type=bounded("pan_offset_mm"),
    required=True,
    help="Distance of the centre of mass from the pan axis.",
)
@click.option(
    "--torque", "curve", type=TorqueAt(), multiple=True, required=True, help="Maker's curve, a point each, from 0 rpm."
)
@click.option(
    "--rotor-g-cm2", type=bounded("rotor_g_cm2"), required=True, help="The rotor's inertia, from its data sheet."
)
@click.option("--gear-efficiency", type=bounded("gear_efficiency"), required=True, help="From its maker: 0.3 to 0.95.")
@click.option("--total-kg", type=bounded("total_kg"), required=True, help="Mass of tripod, head and load together.")
@click.option("--feet-radius-mm", type=bounded("feet_radius_mm"), required=True, help="From the middle to a foot.")
@click.option("--wind-height-mm", type=bounded("wind_height_mm"), required=True, help="Height of the load's middle.")
@click.option("--area-m2", type=bounded("area_m2"), required=True, help="Area that the wind meets.")
@click.option("--wind-m-s", type=bounded("wind_m_s"), required=True, help="Steady wind, or the gust to allow for.")
@click.option(
    "--margin", type=bounded("margin"), default=2.0, show_default=True, help="Torque to spare at the fastest ramps."
)
@json_option
def loads(kit_file: Path, as_json: bool, **given: Any) -> None:
    """Estimate torques, fastest ramps, the tripod's load, and what tips it. The makers' load limits take precedence."""
    lines = kit_work.loads_command(kit_file, kit_loads.Load(**given))
    if as_json:
        plain = [{"what": line.what, "value": line.value, "how": line.how} for line in lines]
        show({"lines": plain, "caution": kit_loads.CAUTION})
        return
    show("\n".join([*(f"{line.what}: {line.value}  ({line.how})" for line in lines), kit_loads.CAUTION]))


@kit.command()
@click.argument("kit_file", metavar="KIT", type=FILE)
@click.option("--port", type=PortName(), help=PORT_HELP + " The head is then checked as well, and moves if you agree.")
@click.option("--picture", type=FILE, help="A picture just shot by hand, to check the camera's settings.")
@click.option("--done", type=Text(), multiple=True, metavar="STEP", help="Mark this step as done.")
@click.option("--again", type=Text(), multiple=True, metavar="STEP", help="Open this step again.")
@click.option("--list", "only_list", is_flag=True, help="Only list the steps and which are done.")
@countdown_option
@json_option
def setup(
    kit_file: Path,
    port: str | None,
    picture: Path | None,
    done: tuple[str, ...],
    again: tuple[str, ...],
    only_list: bool,
    countdown: int,
    as_json: bool,
) -> None:
    """Set up head and camera step by step: level, lens, zero, cables, exposure.

    Progress is kept beside the KIT, so that you can continue later. Steps for one location are open again after twelve
    hours, and all steps after a change of the kit. Exit status 1: a step is still open.
    """
    if port is not None and not terminals.is_terminal(sys.stdin):
        raise click.UsageError(
            "--port has no effect without a terminal, because nobody can answer before the head moves. Run this at a "
            "terminal, or leave --port out."
        )
    if done or again:
        setup_standing.mark_steps(kit_file, done, again)
    if only_list or as_json or done or again or not terminals.is_terminal(sys.stdin):
        if picture is not None:
            click.echo(setup_standing.see_picture(kit_file, picture).sentence, err=True)
        standings = setup_standing.setup_state(kit_file)
    else:
        guide = kit_setup.Guide(
            tell=click.echo,
            ask=lambda question: click.prompt(question, default="", show_default=False),
            agree=lambda question: confirmed(question, yes=False),
            people=terminal.people_here(yes=False, countdown_s=countdown),
            port=port,
            picture=picture,
        )
        standings = kit_setup.setup_command(kit_file, guide)
    show(setup_standing.as_json(standings) if as_json else "\n".join(standing.text() for standing in standings))
    if any(standing.state == "open" for standing in standings):
        raise SystemExit(1)


@kit.command()
def schema() -> None:
    """Print the kit file's JSON Schema, so that an editor can complete it."""
    show(kit_schemas.kit_schema())
