"""The whole story of a sphere on the page, in a real browser: from an empty folder to the report.

What the page claims is compared with its session, and both with what the simulated camera really exposed.
"""

from __future__ import annotations

import sys
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import Page, expect

from controller.planning.plan_file import load_plan
from tests.browser import DESK, PHONE
from tests.controller.commands.simulated import PATIENT
from tests.cut_network import CutNetwork, cut_network
from tests.page_rig import (
    KIT_FILE,
    PageProcess,
    claimed,
    folder_of_work,
    page_of,
    really_made,
    rig_at,
    states_of,
    truth_of,
    until,
)
from tests.page_views import NETWORK, Window, fill_in_begin, lone_browser, paired, received_bytes, view_faults

pytestmark = [
    pytest.mark.skipif(sys.platform != "linux", reason="a pseudo-terminal, and processes by their folder"),
    pytest.mark.long,
]
SPEED = 2.5
SOON_MS, PATIENT_MS = 20_000, 90_000  # a loaded machine starts processes slowly
FIRST_VIEW_BYTES = 200_000
SIZES = {"phone, dark": (PHONE, "dark"), "desk, light": (DESK, "light")}
WITHOUT_TROUBLE = {"desk, light": 10.0}
"""The world's seconds in one of ours where nothing is lost, killed or shot again: that does not depend on the size."""


@pytest.mark.parametrize("which", SIZES)
def test_the_whole_story(tmp_path: Path, which: str) -> None:
    size, look = SIZES[which]
    looks = ("dark", "night", "light") if size == PHONE else (look,)
    folder = tmp_path / "spheres"
    folder.mkdir()
    with (
        folder_of_work(folder),
        rig_at(folder, speed=WITHOUT_TROUBLE.get(which, SPEED)),
        page_of(folder) as served,
        cut_network(served.port, NETWORK) as network,
        lone_browser() as browser,
        paired(browser, served, size, look=look, behind=True) as window,
    ):
        page = window.page
        expect(page.locator("html")).to_have_attribute("data-look", look)
        empty_folder(window, looks)
        make_a_kit(window, folder, looks)
        plan = plan_it(window, folder, looks)
        rehearse_it(window, plan, looks)
        session = folder / begin(window, plan, looks)
        answer_the_question(page, folder, session)
        pause(page, folder, session)
        assert view_faults(page, looks) == []
        troubled = which not in WITHOUT_TROUBLE
        if troubled:
            retake(page, 0)
        go_on(page, session)
        if troubled:
            lose_the_network(window, network, folder)
            kill_the_page(window, served, folder)
        to_the_end(page, folder, session, {0} if troubled else set())
        read_the_report(window, session)
        assert received_bytes(page, f"{window.address}/?session={session.name}") < FIRST_VIEW_BYTES
        assert (window.faults(), window.refused) == ([], ["409 /kits/save"])  # the wrong figure of the kit
        assert served.complaints == []


def empty_folder(window: Window, looks: tuple[str, ...]) -> None:
    """Every view says what is missing, and leads on to what makes it."""
    page = window.page
    expect(page.get_by_text("There is no plan in this folder yet.")).to_be_visible()
    assert view_faults(page, looks) == []
    page.get_by_role("link", name="Make a plan").click()
    expect(page.get_by_text("There is no kit in this folder yet.")).to_be_visible()
    window.open("/sessions")
    assert view_faults(page, looks) == []


def make_a_kit(window: Window, folder: Path, looks: tuple[str, ...]) -> None:
    """The kit is typed as a text, one figure is put wrong and right again, and a step of setting up is done."""
    page = window.page
    window.open("/plan")
    page.get_by_role("link", name="Make a kit").click()
    expect(page.get_by_text("Not yet:")).to_be_visible(timeout=PATIENT_MS)
    assert view_faults(page, looks) == []
    page.get_by_text("The file itself", exact=True).click()
    page.get_by_label("Everything that the form does not have").fill(PATIENT)
    page.get_by_role("button", name="Check").click()
    expect(page.get_by_text("The kit can be used.")).to_be_visible(timeout=PATIENT_MS)
    wide = page.locator("#camera-pixels_wide")
    right = wide.input_value()
    wide.fill("many")
    page.get_by_role("button", name="Save the kit").click()
    expect(page.locator("[data-wrong='camera.pixels_wide']")).to_contain_text("many", timeout=PATIENT_MS)
    assert not list(folder.glob("*.toml"))
    wide.fill(right)
    page.get_by_label("Name", exact=True).fill(KIT_FILE)
    page.get_by_role("button", name="Save the kit").click()
    expect(page.get_by_text(f"The kit is saved as {KIT_FILE}.")).to_be_visible(timeout=PATIENT_MS)
    window.open("/set-up")
    assert view_faults(page, looks) == []
    page.get_by_role("button", name="Done").first.click()
    expect(page.get_by_text("on your word")).to_be_visible()


def plan_it(window: Window, folder: Path, looks: tuple[str, ...]) -> str:
    """Draw a plan, change it, and save it; the file is what was drawn."""
    page = window.page
    window.open("/plan")
    expect(page.get_by_text("This plan covers what was asked for.")).to_be_visible(timeout=PATIENT_MS)
    sphere_frames = page.locator("#frames").inner_text()
    page.get_by_label("Region").select_option("band")
    for name, typed in (("From", "-40"), ("To", "60")):
        page.get_by_role("group", name="Pitch").get_by_label(name).fill(typed)
    expect(page.locator("#frames")).not_to_have_text(sphere_frames, timeout=PATIENT_MS)
    expect(page.get_by_text("This plan covers what was asked for.")).to_be_visible(timeout=PATIENT_MS)
    expect(page.locator("#sphere .frame")).to_have_count(int(page.locator("#frames").inner_text()))
    assert view_faults(page, looks) == []
    page.get_by_label("Name", exact=True).fill("the ledge")
    page.get_by_role("button", name="Save the plan").click()
    expect(page.get_by_text("The plan is saved as the ledge.json.")).to_be_visible(timeout=PATIENT_MS)
    saved = load_plan(folder / "the ledge.json")
    assert str(len(saved.frames)) == page.locator("#frames").inner_text()
    assert (saved.region.pitch_from_deg, saved.region.pitch_to_deg) == (-40, 60)
    return "the ledge.json"


def rehearse_it(window: Window, plan: str, looks: tuple[str, ...]) -> None:
    """Rehearse the plan with nothing going wrong, and read its report."""
    page = window.page
    page.get_by_role("combobox", name="Plan", exact=True).select_option(plan)
    page.get_by_role("button", name="Rehearse").click()
    page.get_by_role("link", name="Read the report").click(timeout=PATIENT_MS)
    expect(page.get_by_text("The set is complete.").first).to_be_visible()
    page.go_back()
    expect(page.get_by_role("link", name="Read the report")).to_be_visible()
    assert view_faults(page, looks[:1]) == []


def begin(window: Window, plan: str, looks: tuple[str, ...]) -> str:
    """Begin a run by the form; the name of its session."""
    page = window.page
    window.open(f"/begin?plan={plan}")
    expect(page.get_by_role("combobox", name="Plan", exact=True)).to_have_value(plan)
    assert view_faults(page, looks) == []
    fill_in_begin(page)
    page.get_by_role("button", name="Begin").click()
    page.wait_for_url("**/?session=*", timeout=PATIENT_MS)
    return parse_qs(urlsplit(page.url).query)["session"][0]


def answer_the_question(page: Page, folder: Path, session: Path) -> None:
    """The run asks whether the sweep is clear; its buttons wake up only after the words were shown."""
    question = page.locator("#question")
    expect(question).to_be_visible(timeout=PATIENT_MS)
    expect(question).to_contain_text("within reach of what turns")
    assert truth_of(folder) == []
    assert "referencing" not in states_of(session)
    page.get_by_role("button", name="Yes").click()
    expect(page.locator("#answer")).to_contain_text("Answered yes")
    expect(question).to_be_hidden()


def pause(page: Page, folder: Path, session: Path) -> None:
    """Pause after the first frame: the head stays still, and nothing is exposed."""
    until("the first frame", lambda: len(truth_of(folder)) >= 2)
    page.get_by_role("button", name="Pause").click()
    expect(page.locator("#doing")).to_contain_text("Paused", timeout=PATIENT_MS)
    assert states_of(session)[-1] == "paused"
    made = truth_of(folder)
    expect(page.locator("#made")).to_have_text(f"{len(made)} of {total(page)} exposures")
    assert truth_of(folder) == made


def total(page: Page) -> int:
    return int(page.locator("#made").inner_text().split()[2])


def retake(page: Page, frame: int) -> None:
    """Choose a frame on the sphere by tapping its number, and ask for it again."""
    page.locator("#sphere .numbers text", has_text=str(frame)).first.scroll_into_view_if_needed()
    box = page.locator("#sphere .numbers text", has_text=str(frame)).first.bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    expect(page.locator("#frame-words")).to_contain_text(f"Frame {frame}: made")
    page.get_by_role("button", name="Shoot again").click()
    expect(page.locator("#frame-words")).to_contain_text(f"Frame {frame}: wanted again")


def go_on(page: Page, session: Path) -> None:
    page.get_by_role("button", name="Go on").click()
    expect(page.locator("#doing")).not_to_contain_text("Paused")
    until("the run to go on", lambda: states_of(session)[-1] != "paused")


def lose_the_network(window: Window, network: CutNetwork, folder: Path) -> None:
    """Without a network the page says so; the run goes on; with it the page catches up by itself."""
    page, before = window.page, len(truth_of(folder))
    network.cut()
    connection = page.locator("#connection")
    expect(connection).to_contain_text("No connection to the computer at the head", timeout=SOON_MS)
    until("the run to go on without a page", lambda: len(truth_of(folder)) > before)
    expect(connection).to_be_visible()
    network.mend()
    expect(connection).to_be_hidden(timeout=SOON_MS)
    expect(page.locator("#made")).not_to_have_text(f"{before} of {total(page)} exposures", timeout=SOON_MS)


def kill_the_page(window: Window, served: PageProcess, folder: Path) -> None:
    """The page's process is killed: the run goes on, and the same device finds it again without a key."""
    page, before = window.page, len(truth_of(folder))
    served.kill()
    connection = page.locator("#connection")
    expect(connection).to_be_visible(timeout=SOON_MS)
    until("the run to go on without the page's process", lambda: len(truth_of(folder)) > before)
    served.begin()
    expect(connection).to_be_hidden(timeout=PATIENT_MS)
    expect(page.locator("#controls")).to_contain_text("This device")


def to_the_end(page: Page, folder: Path, session: Path, retaken: set[int]) -> None:
    """Each exposure was really made once, those of the frames shot again twice, and the session says the same."""
    ended = page.locator("#ended")
    expect(ended).to_be_visible(timeout=2 * PATIENT_MS)
    expect(page.locator("#made")).to_have_text(f"{total(page)} of {total(page)} exposures")
    made = really_made(folder)
    assert len(made) == total(page)
    assert {key: times for key, times in made.items() if times != 1} == {key: 2 for key in made if key[0] in retaken}
    assert made == claimed(session)
    assert all(one["still"] for one in truth_of(folder))
    assert page.locator("#sphere .frame.made").count() == page.locator("#sphere .frame").count()


def read_the_report(window: Window, session: Path) -> None:
    """The session is in its view, and its report can be written and read there."""
    page = window.page
    page.get_by_role("link", name="Sessions").click()
    page.get_by_role("link", name=session.name).click()
    expect(page.locator("#headline")).to_contain_text("The set is complete.", timeout=PATIENT_MS)
    page.get_by_role("button", name="Write the report").click()
    report = page.get_by_role("link", name="of 2026").first
    expect(report).to_be_visible(timeout=PATIENT_MS)
    with page.expect_popup() as opened:
        report.click()
    expect(opened.value.get_by_text("The set is complete.").first).to_be_visible()
    opened.value.close()
