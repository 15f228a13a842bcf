"""`fullturn match`: pair the files on the card with the exposures of a session."""

import json
import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from controller.errors import StorageFailed
from controller.files import write_new
from controller.folders import appearing_folder
from controller.matching.match_words import match_sentences
from controller.matching.matched import Matched, match_files
from controller.matching.recorded import recorded_in
from controller.matching.sorting import placed, sort_files, unfit
from controller.matching.table import lines_csv
from controller.places import must_be_free_folder, must_have_room
from controller.shown import shown


def match_command(session: Path, folder: Path) -> Matched:
    """Pair the files in the folder with the session's exposures; writes nothing. Raises InputError."""
    return match_files(recorded_in(session), session, folder)


def must_be_free_for(out: Path, folder: Path) -> None:
    """Check before the work that `out` can be written: a new folder, outside the card. Raises StorageFailed."""
    card, home = (Path(os.path.realpath(path)) for path in (folder, out))
    if home == card or card in home.parents:
        raise StorageFailed(
            f"{shown(out)} is inside {shown(folder)}, where nothing may be written. Choose another place."
        )
    must_be_free_folder(out)


def write_match(
    matched: Matched,
    session: Path,
    folder: Path,
    out: Path,
    *,
    by: str | None,
    link: bool,
    xmp: bool,
    measured: Mapping[str, Mapping[str, Any]] | None = None,
    also: Callable[[Path], None] | None = None,
) -> int:
    """Write the table and, if requested, the sorted files to the new folder `out`; return how many files were sorted.

    `measured` are columns for the sidecars by file. `also` writes more into that folder, before it appears.
    The folder appears when everything is written. A file that is a pipe, a device or a link out of the card is left out,
    and `matched.checks` says so. Raises StorageFailed.
    """
    must_be_free_for(out, folder)
    files = [] if by is None else placed(matched.lines, folder, matched.plan.frames, by)
    fit = []
    for one in files:
        why = unfit(one.source, folder)
        if why is None:
            fit.append(one)
        else:
            matched.checks.append(f"Not sorted: {shown(one.source)} {why}.")
    if not link:
        needs_bytes = sum(one.source.stat().st_size for one in fit)
        must_have_room(out, needs_bytes, ", or --link")
    with appearing_folder(out) as hidden:
        write_new(hidden / "match.csv", lines_csv(matched.lines))
        sentences = match_sentences(matched)
        found = {"session": str(session), "folder": str(folder), "sentences": sentences, **matched.as_json()}
        text = json.dumps(found, indent=1, allow_nan=False)
        write_new(hidden / "match.json", text + "\n")
        sort_files(fit, hidden / "pictures", matched, link=link, xmp=xmp, measured=measured)
        if also is not None:
            also(hidden)
    return len(fit)
