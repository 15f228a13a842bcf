"""The options that need or exclude others: one table for all commands.

`command.py` explains the form of a clause. A test checks every option of every command: it must be in this table, or be
listed in the test as one that always has an effect.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Rules:
    """The dependencies of one command's options. Terms are written as on the command line."""

    required: tuple[str, ...] = ()
    """Clauses that every use of the command must meet."""
    only_with: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """For an option, the clauses without which it has no effect."""
    needs: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """For a term, the clauses that must also be met if it is."""
    either: tuple[tuple[str, ...], ...] = ()
    """Terms that exclude each other."""


LENS = "--kit or --focal-length-mm and --pixel-um"
SUN = "--latitude and --longitude and --start"
PICTURED = "--ring or --pair"
READ_BY_HAND = ("no --ring", "no --pair")
UNREAD = ("no --from", "no --pictures")
IN_DEGREES = "--pictures or --degrees-per-unit or --rehearse"
ASKED = ("no --from", *READ_BY_HAND)

_STORED = {"--dry": ("--kit",), "--with": ("--kit", "no --dry", "no --rehearse"), "--replace": ("--page",)}
_STORED_UNMOVED = {"--dry": ("--kit",), "--with": ("--kit", "no --dry"), "--replace": ("--page",)}
_MOVED = {
    "--port": ("no --from",),
    "--rehearse": ("no --from",),
    "--yes": ("--port",),
    "--countdown": ("--port",),
}
_MOVED_NEEDS = {"--port": ("--kit",), "--rehearse": ("--kit",)}

RULES = {
    "plan": Rules(
        only_with={
            "--replace": ("--out",),
            "--pitch-from": ("--region band or --region window",),
            "--pitch-to": ("--region band or --region window",),
            "--yaw-from": ("--region window",),
            "--yaw-to": ("--region window",),
            "--row-pitch": ("--region single-row",),
            "--floor": ("no --region single-row",),
            "--allow-unreachable": ("no --region single-row",),
            "--arrangement": ("no --region single-row",),
            "--effort": ("--arrangement fewest",),
            "--seed": ("--arrangement fewest",),
            "--passes-within": ("--passes",),
            "--dpi": ("--print-width-cm",),
            "--latitude": (SUN,),
            "--longitude": (SUN,),
            "--start": (SUN,),
            "--north-yaw": (SUN,),
            "--sun": (SUN,),
        },
        needs={
            "--region band": ("--pitch-from and --pitch-to",),
            "--region window": ("--pitch-from and --pitch-to and --yaw-from and --yaw-to",),
        },
        either=(("--resolution", "--print-width-cm"),),
    ),
    "rehearse": Rules(
        only_with={
            "--scale": ("--pictures",),
            "--scenery": ("--pictures",),
            "--pupil-offset-mm": ("--pictures",),
            "--replace": ("--out",),
        }
    ),
    "simulate": Rules(either=(("--port-name", "--tcp"),)),
    "kit find": Rules(only_with={"--all": ("no --json",)}, either=(("--cameras", "--lenses"),)),
    "kit new": Rules(required=("--lens or --focal-length-mm",)),
    "kit setup": Rules(
        only_with={
            "--port": ("no --list", "no --json", "no --done", "no --again"),
            "--countdown": ("--port",),
        }
    ),
    "board listen": Rules(
        required=("--port or --from",),
        only_with={"--tap": ("--port",), "--baud": ("no --from",)},
        either=(("--port", "--from"),),
    ),
    "calibrate steps": Rules(
        only_with={
            "--by": ASKED,
            "--reading-error-deg": READ_BY_HAND,
            "--focal-length-mm": (PICTURED,),
            "--pixel-um": (PICTURED,),
            "--u-focal-length-mm": ("--pair",),
            "--commanded-steps": (PICTURED,),
            "--u-pose-deg": ("--pair",),
            "--u-pupil-mm": (PICTURED,),
            "--nearest-mm": (PICTURED,),
            **_MOVED,
            "--port": (*ASKED, "no --by turns"),
            "--rehearse": (*ASKED, "no --by turns"),
            **_STORED,
        },
        needs={"--ring": ("--commanded-steps", "--axis pan"), "--pair": ("--commanded-steps",), **_MOVED_NEEDS},
        either=(("--from", "--ring", "--pair"), ("--port", "--rehearse")),
    ),
    "calibrate backlash": Rules(
        only_with={"--positions": ("no --from",), "--times": ("no --from",), **_MOVED, **_STORED},
        needs=_MOVED_NEEDS,
        either=(("--port", "--rehearse"),),
    ),
    "calibrate level": Rules(
        only_with={**_MOVED, **_STORED},
        needs=_MOVED_NEEDS,
        either=(("--port", "--rehearse"),),
    ),
    "calibrate verify": Rules(
        only_with={
            "--plan": ("no --from or no --needed-deg",),
            "--times": ("no --from",),
            "--seed": ("no --from",),
            **_MOVED,
            **_STORED,
        },
        needs=_MOVED_NEEDS,
        either=(("--port", "--rehearse"),),
    ),
    "calibrate centre": Rules(required=(LENS,)),
    "calibrate parallax": Rules(
        only_with={
            "--u-focal-length-mm": ("--focal-length-mm or no --pictures",),
            "--far-mm": ("--near-mm",),
            "--far-at-least-mm": ("--near-mm",),
            "--u-far-mm": ("--far-mm or no --near-mm",),  # without --near-mm both distances are asked for in a dialogue
            "--angle-deg": ("no --pictures",),
            "--shift-px": ("no --pictures",),
            "--u-angle-deg": ("no --pictures",),
            "--u-shift-px": ("no --pictures",),
            "--reading-error-px": ("no --pictures",),
            "--u-distortion-percent": ("no --pictures",),
            "--mark": ("--pictures",),
            "--mark-px": ("--pictures",),
            "--rail-grows": ("--rail-mm",),
            **_STORED_UNMOVED,
        },
        needs={
            "--near-mm": ("--angle-deg and --shift-px or --pictures and --mark", "--far-mm or --far-at-least-mm"),
            "--angle-deg": ("--near-mm and --shift-px", LENS),
            "--shift-px": ("--near-mm and --angle-deg", LENS),
            "--pictures": ("--near-mm and --mark",),
        },
        either=(("--far-mm", "--far-at-least-mm"),),
    ),
    "calibrate settle": Rules(
        only_with={
            "--every-ms": ("--pictures",),
            "--from-ms": ("no --pictures", "no --rehearse"),
            "--degrees-per-unit": ("no --pictures", "no --rehearse"),
            "--shutter-s": (IN_DEGREES, LENS),
            "--blur-px": (IN_DEGREES, LENS, "--kit or --shutter-s"),
            "--focal-length-mm": (IN_DEGREES,),
            "--pixel-um": (IN_DEGREES,),
            "--plan": ("--kit",),
            "--axis": ("--port or --rehearse",),
            "--pitch": ("--port or --rehearse",),
            **_MOVED,
            "--port": UNREAD,
            "--rehearse": UNREAD,
            **_STORED,
        },
        needs=_MOVED_NEEDS,
        either=(("--from", "--pictures"), ("--port", "--rehearse")),
    ),
    "jog": Rules(only_with={"--zero-here": ("--to",)}),
    "capture": Rules(
        only_with={
            "--latitude": ("--start-when-sun",),
            "--longitude": ("--start-when-sun",),
            "--times": ("--repeat",),
            "--place": ("no --out",),
        },
        needs={"--start-when-sun": ("--latitude and --longitude",), "--repeat": ("--times",)},
        either=(("--start-at", "--start-when-sun"), ("--detach", "--on-hang-up")),
    ),
    "resume": Rules(either=(("--detach", "--on-hang-up"),)),
    "install-service": Rules(
        only_with=dict.fromkeys(("--port", "--lan", "--port-number"), ("no --undo",)),
    ),
    "report": Rules(only_with={"--replace": ("--out",), "--yes": ("--out",)}),
    "align": Rules(only_with={"--plan": ("--out",), "--replace": ("--out",)}),
    "match": Rules(
        only_with={
            "--yes": ("--out",),
            "--sort": ("--out",),
            "--xmp": ("--sort",),
            "--copy": ("--sort",),
        }
    ),
    "inspect": Rules(
        only_with={"--yes": ("--out",), "--xmp": ("--out",)}, either=(("--nearest-mm", "--axis-height-mm"),)
    ),
}
