"""`fullturn match`: its options, and how the result is printed."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from controller.cli.command import Command
from controller.cli.inspect import place_lines
from controller.cli.later import later
from controller.cli.option_types import OneOf
from controller.cli.shared_options import FILE, FOLDER, OUTPUT_FOLDER, json_option, offer_removal, show, unfinished_option

with later():
    from controller import amounts
    from controller import progress as bars
    from controller.commands import inspect as inspect_work
    from controller.commands import match as match_work
    from controller.inspection import inspection_words, pose_table
    from controller.matching import match_words

if TYPE_CHECKING:
    from controller.matching.matched import Matched


@click.command(cls=Command, short_help="Pair the files on the card with a SESSION's exposures.")
@click.argument("session", type=FILE)
@click.argument("folder", type=FOLDER)
@click.option("--out", type=OUTPUT_FOLDER, help="A new folder for the table and the sorted files.")
@click.option("--sort", "by", type=OneOf(["frame", "row"]), help="Also sort the files, into a folder for each.")
@click.option("--copy/--link", "copy", default=True, show_default=True, help="Copy the sorted files, or link to them.")
@click.option("--xmp", is_flag=True, help="Write an XMP sidecar for each sorted file.")
@unfinished_option
@click.option("--pictures", is_flag=True, help="Also inspect the pictures, as `fullturn inspect` does.")
@json_option
def match(
    session: Path,
    folder: Path,
    out: Path | None,
    by: str | None,
    copy: bool,
    xmp: bool,
    yes: bool,
    pictures: bool,
    as_json: bool,
) -> None:
    """Pair the files in FOLDER (a card, or a copy of it) with the exposures of a SESSION, by time and order.

    The camera's clock may be wrong by any amount, and may have been reset during the run. A pair is sure at odds of
    10,000 to 1 or better; otherwise it is doubtful, and its odds are listed. The files are never changed or moved.
    """
    if out is not None:
        offer_removal(out, yes=yes)
        match_work.must_be_free_for(out, folder)
    found = match_work.match_command(session, folder)
    inspected = None
    if pictures:
        with bars.progress("Inspecting, percent") as begin:
            inspected = inspect_work.inspect_matched(found, folder, inspect_work.Asked(), begin)
    sorted_files = 0
    if out is not None:
        with bars.progress("Drawing the proof sheet, frames") as begin:
            also = None if inspected is None else inspect_work.writer_of(found, inspected, folder, begin)
            measured = None if inspected is None else pose_table.values_by_file(inspected, found.lines)
            sorted_files = match_work.write_match(
                found, session, folder, out, by=by, link=not copy, xmp=xmp, measured=measured, also=also
            )
    if as_json:
        more = {} if inspected is None else {"inspection": inspect_work.inspection_values(inspected)}
        place = {"out": None if out is None else str(out), "sorted": sorted_files}
        show({**place, "sentences": match_words.match_sentences(found), **found.as_json(), **more})
    else:
        seen = []
        if inspected is not None:
            seen = [*inspection_words.inspection_sentences(inspected), *place_lines(out and out / inspect_work.FOLDER)]
        show("\n".join([*match_words.first_sentences(found), *seen, _text(found, session, out, sorted_files)]))
    if found.retake:
        raise SystemExit(1)


def _text(found: "Matched", session: Path, out: Path | None, sorted_files: int) -> str:
    text = match_words.file_sentences(found)
    if found.not_made:
        text.append(
            f"The session itself lacks {amounts.counted(found.not_made, 'exposure')}: `fullturn resume {session}`."
        )
    if found.retake:
        text.append(f"To reshoot: `fullturn tell {session} retake {','.join(map(str, found.retake))}`")
    text += match_words.whole_sentences(found)
    if out is not None:
        what = f" and {amounts.counted(sorted_files, 'sorted file')}" if sorted_files else ""
        text.append(f"The table is in {out / 'match.csv'}{what and what + ' in ' + str(out / 'pictures')}.")
    return "\n".join(text)
