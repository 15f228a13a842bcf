"""Headings for the options of large commands: one table, used by `--help` and by the reference pages.

Options that the table does not list (`--json`, `--help`) come last. A test checks every command.
"""

from collections.abc import Iterator, Mapping, Sequence

import click

REST = "Other options"

_MOVING = {"Moving the head": "--port --yes --countdown --rehearse"}
_RECORD = {"Record": "--kit --dry --with --page --replace"}
_RUN = {
    "Head": "--port",
    "People": "--yes --countdown --ask-before-moving --detach --on-hang-up",
    "Checks": "--skip-sweep --tether",
    "Battery": "--pause-every --pause-every-wh",
}

HEADINGS: Mapping[str, Mapping[str, str]] = {
    "plan": {
        "Files": "--out --replace",
        "Region": "--region --pitch-from --pitch-to --yaw-from --yaw-to --row-pitch --floor --allow-unreachable "
        "--nadir-by-hand",
        "Frames": "--overlap --arrangement --effort --seed --order --mounted --passes --passes-within",
        "Resolution": "--resolution --print-width-cm --dpi",
        "Limits": "--max-frames --max-seconds",
        "Sun": "--latitude --longitude --start --north-yaw --sun",
    },
    "rehearse": {
        "Files": "--out --replace --yes",
        "Simulated rig": "--seed --faults --list-faults",
        "Pictures": "--pictures --scale --scenery --pupil-offset-mm",
    },
    "capture": {
        **_RUN,
        "Files": "--out --place --kit --log",
        "Start": "--start-at --start-when-sun --latitude --longitude",
        "Series": "--repeat --times",
    },
    "inspect": {
        "Files": "--out --xmp --yes",
        "Verdicts": "--limit --limits",
        "Measuring": "--nearest-mm --axis-height-mm --calibrate",
    },
    "page": {
        "Head": "--port",
        "Who may come in": "--lan --port-number --forget-devices",
        "Start": "--open",
    },
    "install-service": {
        "Service": "--port --lan --port-number --system",
        "Doing it": "--yes --undo",
    },
    "resume": {**_RUN, "Files": "--log"},
    "align": {
        "Photograph": "--yaw --pitch --yaw-only --nearest-mm",
        "New plan": "--out --plan --replace",
    },
    "kit loads": {
        "Input": "--from",
        "Load on the head": "--mass-kg --length-mm --height-mm --tilt-offset-mm --pan-offset-mm",
        "Motors": "--torque --rotor-g-cm2 --gear-efficiency --margin",
        "Tripod and wind": "--total-kg --feet-radius-mm --wind-height-mm --area-m2 --wind-m-s",
    },
    "calibrate steps": {
        "Measurement": "--axis --from --by --reading-error-deg",
        "Photographs": "--ring --pair --commanded-steps --u-pose-deg --u-pupil-mm --nearest-mm",
        "Lens": "--focal-length-mm --pixel-um --u-focal-length-mm",
        **_MOVING,
        **_RECORD,
    },
    "calibrate backlash": {
        "Measurement": "--axis --from --positions --times --reading-error-deg",
        **_MOVING,
        **_RECORD,
    },
    "calibrate level": {
        "Measurement": "--from --leg-yaw-deg --leg-radius-mm --reading-error-deg",
        **_MOVING,
        **_RECORD,
    },
    "calibrate verify": {
        "Measurement": "--from --plan --needed-deg --times --seed --reading-error-deg",
        **_MOVING,
        **_RECORD,
    },
    "calibrate parallax": {
        "Lens": "--focal-length-mm --pixel-um --u-focal-length-mm",
        "Scene": "--near-mm --far-mm --far-at-least-mm --u-near-mm --u-far-mm --nearest-mm",
        "Measured by eye": "--angle-deg --shift-px --u-angle-deg --reading-error-px --u-shift-px --u-distortion-percent",
        "Photographs": "--pictures --mark --mark-px",
        "Rail": "--rail-mm --rail-grows --u-sideways-mm",
        **_RECORD,
    },
    "calibrate settle": {
        "Measurement": "--from --pictures --every-ms --from-ms --degrees-per-unit",
        "Stillness": "--shutter-s --blur-px --plan",
        "Lens": "--focal-length-mm --pixel-um",
        "Moving the head": "--port --axis --pitch --yes --countdown --rehearse",
        **_RECORD,
    },
}


def under_headings(path: str, params: Sequence[click.Parameter]) -> Iterator[tuple[str, list[click.Option]]]:
    """The options of the command `path` ("kit loads"), heading by heading, each in the order of the command."""
    options = [each for each in params if isinstance(each, click.Option) and not each.hidden]
    headings = {heading: names.split() for heading, names in HEADINGS.get(path, {}).items()}
    for heading, names in headings.items():
        yield heading, [each for each in options if each.opts[0] in names]
    taken = {name for names in headings.values() for name in names}
    rest = [each for each in options if each.opts[0] not in taken]
    if rest:
        yield REST if headings else "Options", rest
