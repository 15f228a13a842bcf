"""The account of a session in the words of `fullturn report`, worked out once for each state of its file."""

from collections import OrderedDict
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from controller.page.listed import Stamp, stamp_of
from controller.planning.plan_file import plan_from
from controller.report.account_words import account_text, shot_proof_sentence
from controller.report.summary import account_of
from controller.session.session import Session
from controller.showing.shown_run import is_active

KEPT = 8  # accounts in memory


@dataclass(frozen=True, slots=True)
class ShownAccount:
    """The headline of an account, and its sentences."""

    headline: str
    sentences: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """For the page."""
        return asdict(self)


class Accounts:
    """The latest accounts. For one thread at a time."""

    def __init__(self) -> None:
        self._known: OrderedDict[tuple[Path, Stamp, bool], ShownAccount] = OrderedDict()

    def of(self, path: Path) -> ShownAccount:
        """The account of the session now. Raises InputError, StorageFailed."""
        key = (path, stamp_of(path), is_active(path))
        if key not in self._known:
            self._known[key] = shown_account(path, under_way=key[2])
        self._known.move_to_end(key)
        while len(self._known) > KEPT:
            self._known.popitem(last=False)
        return self._known[key]


def shown_account(path: Path, *, under_way: bool) -> ShownAccount:
    """The account of a session. Raises InputError, StorageFailed."""
    with Session.open(path) as session:
        plan = plan_from(session.plan_text(), str(path), begun=True)
        with session.at_one_moment():
            summary = account_of(session, plan, under_way=under_way)
    first, *others = account_text(summary).splitlines()
    rest = first.removeprefix(summary.headline.removesuffix(".")).lstrip(". ")
    sentences = [each for each in (rest, *others, shot_proof_sentence(plan, summary)) if each]
    return ShownAccount(summary.headline, tuple(sentences))
