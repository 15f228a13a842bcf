"""The same hypothesis examples on every run, and no deadline that a busy machine could miss."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings
from markupsafe import Markup

from tests.dealing import dealt

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser

    from tests.sets.making import SetMaker

settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Let each of several workers begin with modules that have long tests, see `dealing`."""
    workers = int(os.environ.get("PYTEST_XDIST_WORKER_COUNT", "1"))
    if workers > 1:
        items[:] = dealt(items, workers)


@pytest.fixture(scope="session", autouse=True)
def battery_clock() -> Iterator[None]:
    """A computer whose time of day can be believed, whatever this one has: a container often has no battery clock."""
    from controller.system.clock_trust import ClockSigns

    patched = pytest.MonkeyPatch()
    patched.setattr(ClockSigns, "here", classmethod(lambda kind: kind(None, True)))
    yield
    patched.undo()


@pytest.fixture(scope="session")
def set_maker(tmp_path_factory: pytest.TempPathFactory) -> SetMaker:
    """A maker of whole sets, whose folder all workers of this run share."""
    from tests.sets.making import SetMaker  # most tests need none of what this imports

    own = tmp_path_factory.getbasetemp()
    root = (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "sets"
    root.mkdir(exist_ok=True)
    return SetMaker(root)


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Reports without their figures, where no test looks at them: drawing takes most of a rehearsal's time."""
    monkeypatch.setattr("controller.report.drawing.svg", lambda *_: Markup())


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for the tests of a module. No longer: while it is open, no other event loop can run in this thread."""
    from tests.browser import started

    with started() as opened:
        yield opened
