"""Wrong use of the page in a real browser: several devices and windows, double taps, late answers, wrong values."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import cycle
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from controller.page.access import LOOK_ON
from controller.session.session import Session
from tests.browser import DESK
from tests.controller.commands.simulated import PATIENT, beside
from tests.page_rig import (
    KIT_FILE,
    PageProcess,
    claimed,
    folder_of_work,
    fullturn,
    page_of,
    really_made,
    rig_at,
    sessions_in,
    states_of,
    truth_of,
    until,
)
from tests.page_views import Window, lone_browser, paired

pytestmark = [
    pytest.mark.skipif(sys.platform != "linux", reason="a pseudo-terminal, and processes by their folder"),
    pytest.mark.long,
]
PATIENT_MS = 90_000  # a loaded machine starts processes slowly
SENTENCE_CHARACTERS = 12  # a refusal is at least as long as "Type a port."
REGIONS = {"pitch-from": "band", "pitch-to": "band", "yaw-from": "window", "yaw-to": "window", "row-pitch": "single-row"}
# A question is pressed at the very moment when it appears.
TOO_EARLY = """() => {
  const card = document.getElementById("question");
  if (card === null) return;
  new MutationObserver(() => {
    if (card.hidden || window.early !== undefined) return;
    const buttons = [...card.querySelectorAll("button")];
    window.early = buttons.filter((one) => !one.disabled).length;
    for (const one of buttons) one.click();
  }).observe(card, { attributes: true, attributeFilter: ["hidden"] });
}"""
POST = """async ([path, value]) => {
  const headers = { "Content-Type": "application/json" };
  const answer = await fetch(path, { method: "POST", headers, body: JSON.stringify(value) });
  return [answer.status, (await answer.json()).sentence];
}"""


@dataclass(frozen=True)
class Scene:
    """A folder with a kit and a plan, a rig, the page, and a browser."""

    folder: Path
    served: PageProcess
    browser: Browser


@pytest.fixture(scope="module")
def scene(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Scene]:
    folder = tmp_path_factory.mktemp("page") / "spheres"
    folder.mkdir()
    with folder_of_work(folder), rig_at(folder, speed=3.0), page_of(folder) as served, lone_browser() as browser:
        (folder / KIT_FILE).write_text(PATIENT, encoding="utf-8")
        done = beside(
            folder, "plan", KIT_FILE, "--out", "plan.json", "--region", "band", "--pitch-from=-40", "--pitch-to=40"
        )
        assert done.returncode == 0, done.stderr
        yield Scene(folder, served, browser)


def posted(page: Page, path: str, value: dict[str, Any]) -> tuple[int, str]:
    """The status and the sentence of a request that the page's own buttons do not send."""
    status, sentence = page.evaluate(POST, [path, value])
    return int(status), str(sentence)


def requests_to(window: Window, path: str) -> list[str]:
    """The bodies of the requests to a path from now on."""
    found: list[str] = []
    window.page.on("request", lambda one: found.append(one.post_data or "") if one.url.endswith(path) else None)
    return found


def asked_now(session: Path) -> int | None:
    with Session.open(session) as reading:
        question = reading.open_question()
    return None if question is None else question[0]


def test_a_run_in_wrong_hands(scene: Scene) -> None:
    session = scene.folder / "hands.sqlite"
    with paired(scene.browser, scene.served) as first:
        words = ("--port", "port", "--out", session.name, "--countdown", "1", "--skip-sweep", "--detach", "--json")
        begun = fullturn(scene.folder, "capture", "plan.json", *words)
        assert begun.returncode == 0, begun.stderr
        first.page.add_init_script(f"addEventListener('DOMContentLoaded', {TOO_EARLY})")
        told = requests_to(first, "/tell")
        first.open(f"/?session={session.name}")
        an_answer_before_it_was_shown(first.page, told)
        tab = first.beside_at(f"/?session={session.name}")
        late_and_old_answers(first.page, tab.page, session, told)
        with paired(scene.browser, scene.served, DESK, kind="look_on_key") as onlooker:
            onlooker.open(f"/?session={session.name}")
            one_that_looks_on(onlooker, session)
            double_taps(first.page, session, told)
            forth_and_back(first.page, session)
            with paired(scene.browser, scene.served, DESK) as second:
                second.open(f"/?session={session.name}")
                the_controls_change_hands(first.page, second.page, session)
                halt_by_key(second.page, session)
                for window in (first, second, onlooker):
                    expect(window.page.locator("#ended")).to_be_visible(timeout=PATIENT_MS)
                    assert window.faults() == []
    assert really_made(scene.folder) == claimed(session)


def an_answer_before_it_was_shown(page: Page, told: list[str]) -> None:
    """A tap at the moment when a question appears, meant for what was there before, answers nothing."""
    expect(page.locator("#question")).to_be_visible(timeout=PATIENT_MS)
    expect(page.get_by_role("button", name="Yes")).to_be_enabled()
    assert page.evaluate("window.early") == 0
    assert told == []


def late_and_old_answers(page: Page, tab: Page, session: Path, told: list[str]) -> None:
    """An answer counts for the question that it was given to, once, from whatever window."""
    number = until("a question", lambda: asked_now(session))
    at = f"/run/{session.name}/tell"
    for wrong in (number - 1, number + 1):
        assert posted(page, at, {"words": "yes", "question": wrong})[0] == 409
    assert asked_now(session) == number
    told.clear()
    expect(tab.get_by_role("button", name="Yes")).to_be_enabled()
    page.get_by_role("button", name="Yes").dblclick()
    expect(tab.locator("#question")).to_be_hidden()
    until("the run to begin", lambda: "referencing" in states_of(session))
    assert len(told) == 1
    status, sentence = posted(tab, at, {"words": "no", "question": number})
    assert (status, "is open" in sentence) == (409, True)
    tab.close()


def one_that_looks_on(window: Window, session: Path) -> None:
    """It sees the run, has no button that does anything, and is refused by the server too."""
    page = window.page
    expect(page.locator("#doing")).not_to_have_text("Reading the session.")
    for button in page.locator("[data-tell], #halt, #again").all():
        assert button.is_disabled()
    expect(page.get_by_role("button", name="Take over the controls")).to_be_hidden()
    before = states_of(session)
    requests: tuple[tuple[str, dict[str, Any]], ...] = (
        (f"/run/{session.name}/tell", {"words": "stop"}),
        (f"/run/{session.name}/resume", {}),
        ("/run", {"plan": "plan.json", "port": "port"}),
        ("/plan/save", {"kit": KIT_FILE, "options": {}}),
        ("/plan/rehearse", {"plan": "plan.json"}),
    )
    for path, value in requests:
        assert posted(page, path, value) == (403, LOOK_ON), path
    assert posted(page, "/controls/take", {})[0] == 400
    assert not {"stopping", "closing", "paused"} & set(states_of(session)[len(before) :])


def double_taps(page: Page, session: Path, told: list[str]) -> None:
    """Pause pressed twice pauses once; "go on" pressed twice goes on once."""
    told.clear()
    page.get_by_role("button", name="Pause").dblclick()
    expect(page.locator("#doing")).to_contain_text("Paused", timeout=PATIENT_MS)
    assert {json.loads(each)["words"] for each in told} == {"pause"}
    page.get_by_role("button", name="Go on").dblclick()
    expect(page.locator("#doing")).not_to_contain_text("Paused", timeout=PATIENT_MS)
    assert states_of(session).count("paused") == 1


def forth_and_back(page: Page, session: Path) -> None:
    """The browser's own button leads back to a page that shows the run as it is now."""
    page.get_by_role("link", name="Plan").click()
    page.get_by_role("heading", name="Plan").wait_for()
    made = len(claimed(session))
    until("another exposure", lambda: len(claimed(session)) > made)
    page.go_back()
    expect(page.locator("#made")).not_to_have_text(f"{made} of", timeout=PATIENT_MS)
    expect(page.locator("html")).to_have_attribute("data-connected", "yes")
    page.get_by_role("button", name="Pause").click()
    expect(page.locator("#doing")).to_contain_text("Paused", timeout=PATIENT_MS)


def the_controls_change_hands(first: Page, second: Page, session: Path) -> None:
    """Both devices say who took the controls; the one that lost them is refused."""
    expect(second.locator("#halt")).to_be_disabled()
    second.get_by_role("button", name="Take over the controls").click()
    for page in (first, second):
        expect(page.locator("#controls")).to_contain_text("took the controls over")
    expect(second.locator("#halt")).to_be_enabled()
    expect(first.locator("#halt")).to_be_disabled()
    expect(first.get_by_role("button", name="Take over the controls")).to_be_visible()
    status, sentence = posted(first, f"/run/{session.name}/tell", {"words": "go-on"})
    assert (status, sentence.endswith("Take the controls over first.")) == (403, True)
    assert states_of(session)[-1] == "paused"


def halt_by_key(page: Page, session: Path) -> None:
    """Every request is reached by Tab alone; a short press halts nothing, a second of Enter does."""
    names: list[str] = []
    page.evaluate("document.activeElement.blur()")
    for _ in range(60):
        page.keyboard.press("Tab")
        names.append(page.evaluate("document.activeElement.dataset.tell || document.activeElement.id"))
        if names[-1] == "halt":
            break
    assert names[-4:] == ["pause", "go-on", "stop", "halt"]
    page.keyboard.press("Enter")
    expect(page.locator("#halt.held")).to_have_count(0)
    assert states_of(session)[-1] == "paused"
    page.keyboard.down("Enter")
    expect(page.locator("#ended")).to_be_visible(timeout=PATIENT_MS)
    page.keyboard.up("Enter")
    assert states_of(session)[-1] == "failed"


def test_wrong_values_are_refused_beside_the_form(scene: Scene) -> None:
    before, made = sessions_in(scene.folder), len(truth_of(scene.folder))
    with paired(scene.browser, scene.served, DESK) as window:
        if (take := window.page.get_by_role("button", name="Take over the controls")).is_visible():
            take.click()
        window.open("/plan")
        wrong_values_of_a_plan(window.page)
        window.open("/begin")
        wrong_values_of_a_run(window.page)
        assert window.faults() == []
    assert sessions_in(scene.folder) == before
    assert len(truth_of(scene.folder)) == made


def wrong_values_of_a_plan(page: Page) -> None:
    """Every field that is typed in gets a word, markup or a number far out of bounds. Nothing can be saved meanwhile."""
    good = page.get_by_text("This plan covers what was asked for.")
    expect(good).to_be_visible(timeout=PATIENT_MS)
    page.get_by_text("More", exact=True).click()
    names = page.locator("#form input:not([type=checkbox])").evaluate_all("all => all.map(one => one.name)")
    assert len(names) > 8
    for name, typed in zip(names, cycle(("oops", '<b>"', "-1e300")), strict=False):
        page.get_by_label("Region").select_option(REGIONS.get(name, "sphere"))
        field, state = page.locator(f"#form [name={name}]"), page.locator("#state")
        kept = field.input_value()
        field.fill(typed)
        expect(page.get_by_role("button", name="Save the plan")).to_be_disabled()
        expect(state).not_to_have_text("Drawing the plan …", timeout=PATIENT_MS)
        sentence = state.inner_text()
        assert len(sentence) > SENTENCE_CHARACTERS, (name, typed)
        assert not sentence.startswith("This plan covers"), (name, typed)
        assert "Traceback" not in sentence
        field.fill(kept)
    page.get_by_label("Region").select_option("sphere")
    expect(good).to_be_visible(timeout=PATIENT_MS)


def wrong_values_of_a_run(page: Page) -> None:
    """The browser refuses what its own rules refuse; the program's sentence stands beside the form for all else."""
    values = {"plan": "plan.json", "kit": "", "place": "", "port": "port", "countdown": 5}
    wrong: tuple[dict[str, object], ...] = (
        {"port": ""}, {"port": "--help"}, {"port": "x" * 301}, {"countdown": -1}, {"countdown": 1e9},
        {"countdown": "soon"}, {"pause_minutes": 0}, {"pause_wh": -1}, {"plan": "../plan.json"}, {"plan": "kit.toml"},
        {"kit": "plan.json"}, {"place": "x" * 201}, {"more": 1},
    )  # fmt: skip
    for change in wrong:
        status, sentence = posted(page, "/run", values | change)
        assert status in {400, 409}, (change, status, sentence)
        assert len(sentence) > SENTENCE_CHARACTERS, change
        assert "Traceback" not in sentence
    button = page.get_by_role("button", name="Begin")
    page.get_by_label("The board's port").fill("nowhere")
    button.click()
    assert page.locator("#begin #read:invalid").count() == 1  # the cautions were not read
    expect(page.locator("#answer")).to_be_empty()
    page.get_by_label("I have read this").check()
    for name in ("countdown", "port"):
        kept = page.locator(f"#begin [name={name}]").input_value()
        page.locator(f"#begin [name={name}]").fill("")
        button.click()
        assert page.locator(f"#begin [name={name}]:invalid").count() == 1
        page.locator(f"#begin [name={name}]").fill(kept)
    button.click()
    expect(page.locator("#answer")).to_contain_text("nowhere", timeout=PATIENT_MS)
    expect(button).to_be_enabled()
