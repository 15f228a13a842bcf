"""`fullturn calibrate`: keeping the finding of a procedure, and managing the records."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from controller import clock
from controller.calibration import records
from controller.calibration.finding import Finding, record_of
from controller.calibration.record_list import Listed, listed
from controller.calibration.validity import calibrated
from controller.errors import InputError
from controller.kit.kit import Kit
from controller.kit.load import load_kit
from controller.places import must_be_free
from controller.report.own_pages import is_own_page


@dataclass(frozen=True, slots=True)
class Keeping:
    """Where a finding is stored: the record of its kit (nowhere without a kit), and a page.

    With `replace`, the page may replace an older one.
    """

    kit_path: Path | None = None
    dry: bool = False
    with_what: str = ""
    page: Path | None = None
    replace: bool = False

    def must_have_place(self) -> None:
        """Check before the readings that the record and the page can be written. Raises StorageFailed."""
        if self.kit_path is not None and not self.dry:
            path = records.calibration_path(self.kit_path)
            if not path.is_file():  # an existing file is read first, and refused in its own words
                must_be_free(path)
        if self.page is not None:
            must_be_free(self.page, replace=self.replace, ours=is_own_page)

    def kit(self) -> Kit | None:
        """The kit as its file states it, without calibration. Raises InputError."""
        return None if self.kit_path is None else load_kit(self.kit_path)

    def kit_now(self) -> Kit | None:
        """The kit with its calibration so far; None if no kit is named. Raises InputError."""
        return None if self.kit_path is None else calibrated(load_kit(self.kit_path), records.read(self.kit_path))


@dataclass(frozen=True, slots=True)
class Kept:
    """A finding, and where it was stored."""

    finding: Finding
    record_id: int | None
    sentence: str

    def as_json(self) -> dict[str, Any]:
        """For other programs."""
        return self.finding.as_json() | {"record_id": self.record_id}

    def text(self) -> str:
        """For people."""
        return "\n".join((*self.finding.sentences, self.sentence))


@dataclass(frozen=True, slots=True)
class KeptAll:
    """The findings of one measurement, where they were stored, and what else there is to say."""

    kept: tuple[Kept, ...]
    more: Mapping[str, Any]
    said: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """For other programs: a finding for each axis."""
        return {"axes": {each.finding.axis: each.as_json() for each in self.kept}} | dict(self.more)

    def text(self) -> str:
        """For people."""
        sentences = (*(each.text() for each in self.kept), *self.said)
        return "\n".join(sentences)


def keep(finding: Finding, keeping: Keeping) -> Kept:
    """Store the finding as a record, unless no kit was named or the run is dry, and write the page.

    Raises InputError, StorageFailed.
    """
    kept = _stored(finding, keeping)
    _write_page(finding, kept.sentence, keeping)
    return kept


def keep_all(
    findings: Sequence[Finding], keeping: Keeping, more: Mapping[str, Any], said: tuple[str, ...] = ()
) -> KeptAll:
    """Store the findings of one measurement as records, one for each axis, and write one page. Raises as `keep` does."""
    kept = tuple(_stored(finding, keeping) for finding in findings)
    if kept:
        first = findings[0]
        whole = replace(
            first,
            sentences=(*(sentence for finding in findings for sentence in finding.sentences), *said),
            plots=tuple(plot for finding in findings for plot in finding.plots),
        )
        _write_page(whole, " ".join(each.sentence for each in kept), keeping)
    return KeptAll(kept, more, said)


def _stored(finding: Finding, keeping: Keeping) -> Kept:
    kit = keeping.kit()
    record_id = None
    if keeping.kit_path is None or kit is None:
        sentence = "Nothing was stored, because no kit was named (--kit FILE)."
    elif keeping.dry:
        sentence = "Nothing was stored (--dry)."
    else:
        record_id = records.add(keeping.kit_path, record_of(finding, kit, keeping.with_what, clock.wall_time())).id
        sentence = f"Stored as record {record_id} in {records.calibration_path(keeping.kit_path)}."
    return Kept(finding, record_id, sentence)


def _write_page(finding: Finding, stored: str, keeping: Keeping) -> None:
    if keeping.page is not None:
        from controller.report.calibration_page import write_calibration_page  # noqa: PLC0415  templates take time

        write_calibration_page(keeping.page, finding, stored, replace=keeping.replace)


def list_command(kit_path: Path) -> list[Listed]:
    """All records of a kit, oldest first. Raises InputError."""
    kit, kept = load_kit(kit_path), records.read(kit_path)
    now = clock.wall_moment()
    return [listed(record, kept, kit, now) for record in kept]


def show_command(kit_path: Path, record_id: int | None) -> Listed:
    """One record, by default the newest. Raises InputError if there is none."""
    all_listed = list_command(kit_path)
    if record_id is None and all_listed:
        return max(all_listed, key=lambda each: each.record.made_at)
    for each in all_listed:
        if each.record.id == record_id:
            return each
    wanted = "no record yet" if record_id is None else f"no record {record_id}; `fullturn calibrate list` names them"
    raise InputError(f"{records.calibration_path(kit_path)}: has {wanted}.")


def undo_command(kit_path: Path, record_id: int | None) -> Listed:
    """Mark a record as undone, by default the newest. Raises InputError, StorageFailed."""
    load_kit(kit_path)
    return Listed(records.undo(kit_path, record_id), "undone")
