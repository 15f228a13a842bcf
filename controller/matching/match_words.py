"""What pairing a card with a session has found, in sentences."""

from collections.abc import Callable

from controller.amounts import counted
from controller.matching.matched import Matched, ahead_text
from controller.matching.table import MatchLine, MatchVerdict

SHOWN = 20  # lines of a kind; the table has all of them
LEAST_TOLD = 1e-6  # smaller doubts are printed as this one
EVEN = 0.4  # at greater doubts, odds in whole numbers say nothing
LIKELY = 1e-3  # smaller doubts are summarised in one line


def match_sentences(found: Matched) -> list[str]:
    """Everything that was found, in sentences for any window: what is first to know, then the files."""
    lacks = [f"The session itself lacks {counted(found.not_made, 'exposure')}."] if found.not_made else []
    frames = ", ".join(map(str, found.retake))
    again = [f"To be shot again: {counted(len(found.retake), 'frame')} ({frames})."] if found.retake else []
    return [*first_sentences(found), *file_sentences(found), *lacks, *again, *whole_sentences(found)]


def first_sentences(found: Matched) -> list[str]:
    """What is to be said before all else: that the card may be of another run."""
    return [] if found.other_run is None else [found.other_run]


def file_sentences(found: Matched) -> list[str]:
    """What was found out about the files and the camera's clock."""
    damaged = [f"The session is damaged: {'; '.join(found.losses)}."] if found.losses else []
    text = [
        *damaged,
        _paired_text(found),
        ahead_text(found.clock),
        *_listed("missing", found, lambda line: line.verdict is MatchVerdict.MISSING),
        *_listed("doubtful", found, lambda line: line.verdict is MatchVerdict.DOUBTFUL and not _likely(line)),
        *_likely_text(found),
        *_listed("extra", found, lambda line: line.verdict is MatchVerdict.EXTRA),
        *_listed("look at", found, lambda line: line.use and bool(line.notes)),
        *found.checks,
    ]
    out_of_step = sum(line.told_as is not None for line in found.lines)
    if out_of_step:
        text.append(f"The camera's bracket was out of step: {counted(out_of_step, 'file')} sorted by shutter time.")
    return text


def whole_sentences(found: Matched) -> list[str]:
    """That every exposure has its file, if that is so."""
    if found.retake or found.not_made:
        return []
    doubtful = sum(line.use and line.verdict is MatchVerdict.DOUBTFUL for line in found.lines)
    return [f"Every exposure of the set has {'a' if doubtful else 'its'} file{_doubtful_text(doubtful)}."]


def _paired_text(found: Matched) -> str:
    """The number of paired files, and how certain the pairs are."""
    paired = [line for line in found.lines if line.file is not None and line.frame is not None]
    sure = [line for line in paired if line.verdict is MatchVerdict.SURE]
    text = f"{counted(len(paired), 'file')} of {found.camera or 'the camera'} paired with the session's exposures"
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


def _likely(line: MatchLine) -> bool:
    return line.frame is not None and line.doubt is not None and line.doubt < LIKELY


def _likely_text(found: Matched) -> list[str]:
    """The nearly sure pairs, in one line: nobody inspects hundreds of them."""
    doubtful = [line for line in found.lines if line.verdict.value == "doubtful"]
    likely = [line for line in doubtful if _likely(line)]
    if not likely:
        return []
    more = "more " if len(likely) < len(doubtful) else ""
    worst = max(line.doubt or 0.0 for line in likely)
    return [f"doubtful {counted(len(likely), more + 'file')}, at {_odds(worst)} or better; the table has them"]


def _listed(word: str, found: Matched, wanted: Callable[[MatchLine], bool]) -> list[str]:
    lines = [line for line in found.lines if wanted(line)]
    text = [f"{word:9}{_line_text(line)}" for line in lines[:SHOWN]]
    return text + ([f"{word:9}and {len(lines) - SHOWN} more, in the table"] if len(lines) > SHOWN else [])


def _line_text(line: MatchLine) -> str:
    parts = []
    if line.file is not None:
        parts.append(line.file)
    if line.frame is not None:
        parts.append(f"frame {line.frame}, exposure {line.exposure}")
    if line.file is not None and line.doubt is not None and line.verdict.value == "doubtful":
        parts.append(_odds(line.doubt) if line.frame is not None else "belongs to no exposure?")
    return "  ".join([*parts, *line.notes])
