"""`fullturn match`: its options, and how the result is printed."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from controller.cli.command import Command
from controller.cli.inspect import inspection_lines
from controller.cli.later import later
from controller.cli.option_types import OneOf
from controller.cli.shared_options import FILE, FOLDER, OUTPUT_FOLDER, json_option, offer_removal, show, unfinished_option

with later():
    from controller import amounts
    from controller import progress as bars
    from controller.commands import inspect as inspect_work
    from controller.commands import match as match_work
    from controller.inspection import pose_table
    from controller.matching import matched
    from controller.matching import table as table_words

if TYPE_CHECKING:
    from controller.matching.matched import Matched
    from controller.matching.table import MatchLine

SHOWN = 20  # lines of a kind; the table has all of them
LEAST_TOLD = 1e-6  # smaller doubts are printed as this one
EVEN = 0.4  # at greater doubts, odds in whole numbers say nothing
LIKELY = 1e-3  # smaller doubts are summarised in one line


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
        show({"out": None if out is None else str(out), "sorted": sorted_files, **found.as_json(), **more})
    else:
        first = [] if found.other_run is None else [found.other_run]
        seen = [] if inspected is None else inspection_lines(inspected, out and out / inspect_work.FOLDER)
        show("\n".join([*first, *seen, _text(found, session, out, sorted_files)]))
    if found.retake:
        raise SystemExit(1)


def _text(found: "Matched", session: Path, out: Path | None, sorted_files: int) -> str:
    damaged = [f"The session is damaged: {'; '.join(found.losses)}."] if found.losses else []
    text = [
        *damaged,
        _paired_text(found),
        matched.ahead_text(found.clock),
        *_listed("missing", found, lambda line: line.verdict is table_words.MatchVerdict.MISSING),
        *_listed("doubtful", found, lambda line: line.verdict is table_words.MatchVerdict.DOUBTFUL and not _likely(line)),
        *_likely_text(found),
        *_listed("extra", found, lambda line: line.verdict is table_words.MatchVerdict.EXTRA),
        *_listed("look at", found, lambda line: line.use and bool(line.notes)),
        *found.checks,
    ]
    out_of_step = sum(line.told_as is not None for line in found.lines)
    if out_of_step:
        text.append(
            f"The camera's bracket was out of step: {amounts.counted(out_of_step, 'file')} sorted by shutter time."
        )
    if found.not_made:
        text.append(
            f"The session itself lacks {amounts.counted(found.not_made, 'exposure')}: `fullturn resume {session}`."
        )
    if found.retake:
        text.append(f"To reshoot: `fullturn tell {session} retake {','.join(map(str, found.retake))}`")
    elif not found.not_made:
        doubtful = sum(line.use and line.verdict is table_words.MatchVerdict.DOUBTFUL for line in found.lines)
        text.append(f"Every exposure of the set has {'a' if doubtful else 'its'} file{_doubtful_text(doubtful)}.")
    if out is not None:
        what = f" and {amounts.counted(sorted_files, 'sorted file')}" if sorted_files else ""
        text.append(f"The table is in {out / 'match.csv'}{what and what + ' in ' + str(out / 'pictures')}.")
    return "\n".join(text)


def _paired_text(found: "Matched") -> str:
    """The number of paired files, and how certain the pairs are."""
    paired = [line for line in found.lines if line.file is not None and line.frame is not None]
    sure = [line for line in paired if line.verdict is table_words.MatchVerdict.SURE]
    text = f"{amounts.counted(len(paired), 'file')} of {found.camera or 'the camera'} paired with the session's exposures"
    least = f"the least certain of these at {_odds(max((line.doubt or 0.0 for line in sure), default=0.0))}"
    if len(sure) < len(paired):
        return f"{text}: {len(sure)} for sure{', ' + least if sure else ''}; {len(paired) - len(sure)} doubtful."
    return f"{text}, all of them for sure, {least}." if sure else f"{text}."


def _odds(doubt: float) -> str:
    """A doubt as odds."""
    if doubt > EVEN:
        return "odds that are no better than even"
    return f"{1 / doubt - 1:,.0f} to 1" if doubt > LEAST_TOLD else "more than a million to 1"


def _doubtful_text(doubtful: int) -> str:
    """What to add if some of the files to use are doubtful."""
    if not doubtful:
        return ""
    return f", {doubtful} of them doubtful: look at {'it' if doubtful == 1 else 'these'}"


def _likely(line: "MatchLine") -> bool:
    return line.frame is not None and line.doubt is not None and line.doubt < LIKELY


def _likely_text(found: "Matched") -> list[str]:
    """The nearly sure pairs, in one line: nobody inspects hundreds of them."""
    doubtful = [line for line in found.lines if line.verdict.value == "doubtful"]
    likely = [line for line in doubtful if _likely(line)]
    if not likely:
        return []
    more = "more " if len(likely) < len(doubtful) else ""
    worst = max(line.doubt or 0.0 for line in likely)
    return [f"doubtful {amounts.counted(len(likely), more + 'file')}, at {_odds(worst)} or better; the table has them"]


def _listed(word: str, found: "Matched", wanted: Callable[["MatchLine"], bool]) -> list[str]:
    lines = [line for line in found.lines if wanted(line)]
    text = [f"{word:9}{_line_text(line)}" for line in lines[:SHOWN]]
    return text + ([f"{word:9}and {len(lines) - SHOWN} more, in the table"] if len(lines) > SHOWN else [])


def _line_text(line: "MatchLine") -> str:
    parts = []
    if line.file is not None:
        parts.append(line.file)
    if line.frame is not None:
        parts.append(f"frame {line.frame}, exposure {line.exposure}")
    if line.file is not None and line.doubt is not None and line.verdict.value == "doubtful":
        parts.append(_odds(line.doubt) if line.frame is not None else "belongs to no exposure?")
    return "  ".join([*parts, *line.notes])
