"""No question can be answered before it was shown for a while, whatever was asked before it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Route

from controller import page as room

STATIC = Path(room.__file__).parent / "static"
READ_MS = 600
CARD = """<!doctype html><html lang="en"><title>Questions</title><section id="question" hidden><p data-words></p>
<p data-answers></p><p data-elsewhere hidden>Another device answers this.</p></section>
<script type="module">import { Questions } from "/asking.js";
window.given = [];
window.questions = new Questions(document.getElementById("question"), (question, answer) => {
  window.given.push([question.id, answer]);
  return new Promise((done) => { window.done = done; });
});</script></html>"""


@pytest.fixture(scope="module")
def card(browser: Browser) -> Iterator[Page]:
    page = browser.new_page()
    page.clock.install(time=0)

    def answer(route: Route) -> None:
        script = route.request.url.endswith("asking.js")
        body = (STATIC / "asking.js").read_text(encoding="utf-8") if script else CARD
        route.fulfill(body=body, content_type="text/javascript" if script else "text/html")

    page.route("http://ledge.invalid/**", answer)
    page.goto("http://ledge.invalid/")
    page.wait_for_function("window.questions !== undefined")
    page.clock.pause_at(1000)
    yield page
    page.close()


def show(card: Page, number: int | None, *, allowed: bool = True) -> None:
    question = None if number is None else {"id": number, "words": f"Question {number}?", "answers": ["yes", "no"]}
    card.evaluate("([question, allowed]) => { questions.show(question, allowed); }", [question, allowed])


def can_answer(card: Page) -> bool:
    return bool(card.evaluate("[...document.querySelectorAll('button')].some((button) => !button.disabled)"))


@pytest.mark.parametrize("between_ms", [0, 1, 300, 599, 600, 601, 1500])
@pytest.mark.parametrize("withdrawn", [False, True])
def test_each_question_waits_its_own_time(card: Page, between_ms: int, withdrawn: bool) -> None:
    first, second = between_ms * 10 + withdrawn * 4 + 1, between_ms * 10 + withdrawn * 4 + 2
    show(card, first)
    card.clock.run_for(between_ms)
    assert can_answer(card) == (between_ms >= READ_MS)
    if withdrawn:
        show(card, None)
    show(card, second)
    for _ in range(3):
        assert not can_answer(card)
        card.clock.run_for(199)
        show(card, second)  # the same again, as with every state of the run
    assert not can_answer(card)
    card.clock.run_for(3)
    assert can_answer(card)
    show(card, second, allowed=False)
    assert not can_answer(card)
    assert card.locator("[data-elsewhere]").is_visible()
    show(card, None)


def test_an_answer_is_given_once_and_a_late_reply_frees_no_later_question(card: Page) -> None:
    show(card, 1001)
    card.clock.run_for(READ_MS)
    card.evaluate(
        "window.given.length = 0; document.querySelector('button').click(); document.querySelector('button').click()"
    )
    assert card.evaluate("window.given") == [[1001, "yes"]]
    assert not can_answer(card)
    show(card, 1002)
    card.evaluate("window.done()")
    card.evaluate("new Promise((done) => queueMicrotask(done))")
    assert not can_answer(card)
    card.clock.run_for(READ_MS)
    assert can_answer(card)
    show(card, None)
