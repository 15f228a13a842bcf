"""Who must stay out stays out: before any view, for every route, and without a word about the folder.

OWASP ASVS 4.0.3, by number from memory: V4.1.1 (access control on a trusted layer), V4.2.2 (CSRF), V13.1 and V13.2.1
(methods), V14.4 (headers), V14.5.1 (methods refused and logged), V14.5.3 (Origin).
"""

from __future__ import annotations

from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.routing import Route

from controller import __version__
from controller.page.app import app_of
from controller.page.guard import MOST_PATH, OPEN
from controller.page.routing import MOST_BODY_BYTES
from tests.controller.page.pages import HOST, Served, served_in

SECRET = "westerly-cliff"


@pytest.fixture
def served(tmp_path: Path) -> Served:
    (tmp_path / f"{SECRET}.toml").write_text("")
    (tmp_path / f"{SECRET}.json").write_text("")
    (tmp_path / f"{SECRET}.sqlite").write_text("")
    (tmp_path / SECRET).mkdir()
    (tmp_path / SECRET / "report.html").write_text("<p>the report")
    return served_in(tmp_path)


def all_routes(served: Served) -> list[tuple[str, str]]:
    """Every route of the page with each of its methods; a path's parameters name what exists."""
    found = [each for each in app_of(served.page).routes if isinstance(each, Route)]
    assert len(found) >= 8
    named = {"{folder}": SECRET, "{name}": "report.html"}
    paths = []
    for route in found:
        path = route.path
        for parameter, value in named.items():
            path = path.replace(parameter, value)
        paths += [(path, method) for method in sorted(route.methods or ())]
    return paths


def test_without_a_device_every_route_and_every_other_path_are_answered_alike(served: Served) -> None:
    """Whether something exists cannot be told (ASVS V4.1.1)."""
    stranger = served.browser()
    for path, method in all_routes(served):
        if path in OPEN:
            continue
        answers = {
            each: stranger.ask(method, each, headers={"Accept": "text/html"})
            for each in (path, "/does/not/exist", f"/file/{SECRET}/report.html", "/static/../now.js", "/static/page.js")
        }
        assert {(each.status_code, each.text, each.headers.get("location")) for each in answers.values()} in (
            {(303, "", "/pair")},
            {(401, "", None)},
            {(401, '{"sentence":"Pair this device first."}', None)},
        ), path


def test_the_sign_that_browsers_ask_for_by_themselves_is_answered_without_a_line(served: Served) -> None:
    assert served.browser().get("/favicon.ico", headers={"Accept": "image/*"}).headers["content-type"] == "image/svg+xml"
    assert served.lines == []


def test_the_pairing_page_and_what_it_needs_tell_nothing_about_the_folder(served: Served) -> None:
    stranger = served.browser()
    for path in sorted(OPEN):
        answer = stranger.get(path)
        told = answer.text + str(answer.headers)
        assert answer.status_code == 200
        for secret in (SECRET, str(served.page.folder.root), __version__, served.page.folder.root.name):
            assert secret not in told
        assert answer.headers["content-length"]
        assert len(answer.content) < 20_000
    assert '<input id="key"' in stranger.get("/pair").text


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8360", "127.0.0.1", "127.0.0.1:80", "127.0.0.1:8360.evil.example", "", "[::1]"]
)
def test_another_host_is_refused_even_for_the_pairing_page_and_a_paired_device(served: Served, host: str) -> None:
    """DNS rebinding: the lured browser sends the name that it was lured with."""
    paired = served.controlling
    for path in ("/", "/pair", "/static/page.css"):
        answer = paired.get(path, headers={"Host": host})
        assert answer.status_code == 421
        assert SECRET not in answer.text
    assert served.lines[-1] == "Refused (192.0.2.7): its Host is not this page's: /static/page.css"


POSTS = [{"Origin": None}, {"Origin": "null"}, {"Origin": "http://evil.example"}, {"Origin": f"https://{HOST}"}]
POSTS += [{"Origin": "http://127.0.0.1:8361"}, {"Sec-Fetch-Site": "cross-site"}, {"Sec-Fetch-Site": "same-site"}]
POSTS += [{"Origin": f"http://{HOST}.evil.example"}, {"Sec-Fetch-Site": "none"}]


@pytest.mark.parametrize("headers", POSTS, ids=str)
def test_what_changes_something_must_come_from_the_page(served: Served, headers: dict[str, str | None]) -> None:
    """Every POST of every view, and pairing itself (ASVS V4.2.2, V14.5.3)."""
    paired, before = served.controlling, served.page.access.devices
    for path, method in all_routes(served):
        if method == "POST":
            answer = paired.post(path, {"key": served.page.access.keys.control, "name": "x"}, headers=headers)
            assert answer.status_code == 403, path
    assert served.page.access.devices == before


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "TRACE", "PATCH", "CONNECT", "PROPFIND"])
def test_other_methods_are_refused_and_logged(served: Served, method: str) -> None:
    answer = served.controlling.ask(method, "/")
    assert answer.status_code == 405
    assert answer.headers["allow"] == "GET, HEAD, POST"
    assert "method" in served.lines[-1]


def test_every_answer_has_the_headers_of_security(served: Served) -> None:
    """ASVS V14.4.1 (type), V14.4.3 (CSP), V14.4.4 (nosniff), V14.4.6 (referrer), V14.4.7 (framing), V8.2.1 (caching)."""
    paired, stranger = served.controlling, served.browser()
    answers = [paired.get(path) for path in ("/", "/plan", "/set-up", "/sessions", "/nothing", "/static/page.js")]
    answers += [
        stranger.get("/"),
        stranger.get("/pair"),
        stranger.post("/controls/take"),
        paired.get("/", headers={"Host": "x"}),
    ]
    answers += [paired.ask("PUT", "/"), paired.post("/controls/take"), paired.post("/pair", {"key": "wrong"})]
    for answer in answers:
        headers = answer.headers
        policy = headers["content-security-policy"]
        assert "default-src 'self'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "base-uri 'none'" in policy
        assert "unsafe" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert headers["cross-origin-opener-policy"] == "same-origin"
        assert headers["cache-control"] in ("no-store", "no-cache")
        assert "server" not in headers
        assert "access-control-allow-origin" not in headers
        if answer.content:
            assert headers["content-type"].split(";")[0] in {"text/html", "text/javascript", "application/json"}


def test_no_page_holds_a_script_or_a_style_that_its_policy_forbids(served: Served) -> None:
    paired = served.controlling
    for path in ("/", "/plan", "/set-up", "/sessions", "/pair"):
        text = paired.get(path).text
        assert "<style" not in text
        assert " style=" not in text
        assert all(" src=" in part.split(">")[0] for part in text.split("<script")[1:])
        assert not [part for part in text.split("<")[1:] if " on" in part.split(">")[0].replace("one", "")], path
        assert "http://" not in text
        assert "https://" not in text


@given(extra=st.integers(1, 10_000))
@settings(max_examples=5, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_body_is_read_no_further_than_its_limit(served: Served, extra: int) -> None:
    """Claimed by its length, and in chunks without one (ASVS V13.1, from memory)."""
    paired = served.browser(served.page.access.keys.control)
    claimed = paired.ask(
        "POST", "/controls/take", content=b"{}", headers={"Content-Length": str(MOST_BODY_BYTES + extra)}
    )
    assert claimed.status_code == 413
    read = 0

    async def endless() -> AsyncIterator[bytes]:
        nonlocal read
        while read < 100 * MOST_BODY_BYTES:
            read += 10_000
            yield bytes(10_000)

    chunked = paired.ask("POST", "/controls/take", content=endless())
    assert chunked.status_code == 413
    assert chunked.headers["connection"] == "close"
    assert read <= MOST_BODY_BYTES + 20_000


@pytest.mark.parametrize("length", ["-1", "1e9", "٣", "9" * 5000, "0x10", "64 KB", ""])
def test_a_length_that_is_none_is_refused(served: Served, length: str) -> None:
    value = length.encode("latin-1", "replace")
    assert served.controlling.ask("POST", "/controls/take", headers={"Content-Length": value}).status_code == 413


def test_a_long_address_and_a_body_that_nobody_asked_for_are_refused(served: Served) -> None:
    paired = served.controlling
    assert paired.get("/" + "x" * MOST_PATH).status_code == 414
    assert paired.get("/?" + "x" * MOST_PATH).status_code == 414
    assert paired.ask("GET", "/", content=b"{}").status_code == 400


@pytest.mark.parametrize(
    "body",
    [
        b"[" * 30_000, b'{"key": ' * 5000, b"\xff\xfe", b"", b"null", b"NaN", b'{"key": 1}', b'{"key": "a", "more": 1}',
        b'{"key": "a", "key": "b"}', b'{"key": "\\ud800"}', b'{"key": 1e999}', b'{"key": "' + b"x" * 60_000 + b'"}',
    ],
)  # fmt: skip
def test_a_body_that_is_not_what_was_asked_for_is_told_in_a_sentence(served: Served, body: bytes) -> None:
    answer = served.browser().ask("POST", "/pair", content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code == 400
    said = answer.json()["sentence"]
    assert said.endswith(".")
    assert len(said) < 300
    assert "pydantic" not in said.lower()


@pytest.mark.parametrize(
    "kind", [None, "text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"]
)
def test_only_json_is_read_which_no_form_of_another_site_can_send(served: Served, kind: str | None) -> None:
    body = f'{{"key": "{served.page.access.keys.control}"}}'.encode()
    assert served.browser().ask("POST", "/pair", content=body, headers={"Content-Type": kind}).status_code == 400
    assert not served.page.access.devices.devices


@given(cookie=st.text(st.characters(codec="latin-1", exclude_characters="\r\n\0"), max_size=200))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=50)
def test_no_cookie_but_a_device_s_comes_in(served: Served, cookie: str) -> None:
    for text in (cookie, f"fullturn={cookie}"):
        answer = served.browser().get("/", headers={"Cookie": text.encode("latin-1")})
        assert answer.status_code == 303


@given(
    path=st.text(st.characters(codec="ascii", exclude_categories=["Cc"]), max_size=60),
    extra=st.sampled_from(["", "/../", "%2e%2e/", "..%2f", "%00", "//", "/./", "\\..\\", "%c0%ae/"]),
)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
def test_no_path_leads_a_device_out_of_the_folder(served: Served, path: str, extra: str) -> None:
    """ASVS V12.3.1 and V12.3.2, from memory: names of files are never parts of paths."""
    (served.page.folder.root.parent / "outside.txt").write_text("outside")
    paired = served.browser(served.page.access.keys.see)
    for each in (f"/file/{extra}{path}", f"/static/{extra}{path}", f"/file/{SECRET}/{extra}outside.txt"):
        raw = each.replace("#", "").replace("?", "").replace(" ", "%20")
        answer = paired.get(raw)
        assert answer.status_code in {200, 303, 400, 404, 414}
        assert "outside" not in answer.text
        assert answer.status_code != 200 or answer.text in ("<p>the report",)


def test_a_fault_of_a_view_tells_nothing_and_the_page_goes_on(served: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    paired = served.controlling

    def broken(*_: object) -> None:
        raise ZeroDivisionError(SECRET)

    with monkeypatch.context() as patched:
        patched.setattr("controller.page.served.ServedFolder.kit_files", broken)
        with pytest.raises(ZeroDivisionError):
            paired.get("/set-up")  # the server writes the traceback to stderr
    assert paired.get("/set-up").status_code == 200


def test_refusals_are_logged_in_one_line_each_and_not_without_end(served: Served) -> None:
    """ASVS V7.3.1 (log injection), from memory."""
    stranger = served.browser()
    for _ in range(100):
        stranger.ask("PUT", "/%0aRefused:%20%1b[31m")
    assert len(served.lines) == 30
    assert all(line.isprintable() for line in served.lines)
    served.clock.now_ns += 60 * 10**9
    stranger.ask("PUT", "/")
    assert served.lines[30:] == [
        "Refused: 70 more in the last minute.",
        "Refused (192.0.2.7): its method is not used here: /",
    ]
