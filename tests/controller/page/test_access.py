"""Keys that pair, devices that were paired, and which of them holds the controls.

OWASP ASVS 4.0.3, by number from memory: V2.2.1 (anti-automation), V2.9/V6.2 (compare in constant time), V3.2.2 (tokens of
64 bits at least), V3.4 (cookies), V6.1 (data at rest). Cookies: RFC 6265bis (draft), sections 4.1.2 and 5.6.
"""

from __future__ import annotations

import math
import stat
from datetime import timedelta
from http.cookies import SimpleCookie
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller import clock
from controller.errors import InputError
from controller.page.access import Access, NotNow
from controller.page.devices import KEPT_FOR, MOST_DEVICES, kind_of_device, load_devices, save_devices
from controller.page.keys import ALPHABET, LENGTH, new_key, plain, same_key
from controller.page.served import PAGE_FILE
from controller.page.slowing import Slowing
from tests.controller.page.pages import HOST, Served, served_in

SECOND = 10**9


@pytest.fixture
def served(tmp_path: Path) -> Served:
    return served_in(tmp_path)


def test_a_key_has_at_least_forty_bits_and_no_letter_that_looks_like_another() -> None:
    assert LENGTH * math.log2(len(ALPHABET)) >= 40
    assert not set(ALPHABET) & set("01oil")
    assert len({new_key() for _ in range(200)}) == 200
    assert set("".join(plain(new_key()) for _ in range(200))) == set(ALPHABET)


@given(blanks=st.lists(st.sampled_from(["", " ", "-", "\t"]), min_size=LENGTH, max_size=LENGTH), upper=st.booleans())
def test_a_key_may_be_typed_with_blanks_and_in_capitals(blanks: list[str], upper: bool) -> None:
    key = "abcde-fgh23"
    typed = "".join(blank + each for blank, each in zip(blanks, plain(key), strict=True))
    assert same_key(typed.upper() if upper else typed, key)


@given(typed=st.text(max_size=40))
def test_no_other_text_is_the_key(typed: str) -> None:
    assert same_key(typed, "abcde-fgh23") == (plain(typed) == "abcdefgh23")


@given(wrong=st.integers(0, 40))
def test_guesses_wait_from_the_fifth_wrong_one_on_a_second_doubling_to_a_minute(wrong: int) -> None:
    slowing = Slowing()
    for _ in range(wrong):
        slowing.count_wrong(0)
    expected = 0 if wrong < 5 else min(60, 2 ** (wrong - 5))
    assert slowing.wait_left_ns(0) == expected * SECOND
    assert slowing.wait_left_ns(expected * SECOND) == 0
    slowing.forget()
    assert slowing.wait_left_ns(0) == 0


def test_guessed_keys_are_slowed_down_for_all_and_the_right_one_works_after_the_wait(served: Served) -> None:
    """ASVS V2.2.1: so a year of guessing tries about 2^19 of 2^49 keys."""
    for _ in range(5):
        assert served.browser().post("/pair", {"key": "aaaaa-aaaaa"}).status_code == 403
    key = served.page.access.keys.control
    too_soon = served.browser().post("/pair", {"key": key})
    assert too_soon.status_code == 429
    assert too_soon.headers["retry-after"] == "1"
    assert too_soon.json()["sentence"] == "Too many wrong keys. Wait 1 s, then try again."
    assert not served.page.access.devices.devices
    served.clock.now_ns += SECOND
    assert served.browser().post("/pair", {"key": key}).status_code == 200
    assert served.lines == ["Refused (192.0.2.7): a wrong key"] * 5 + [
        "Refused (192.0.2.7): a key too soon after wrong ones"
    ]


def test_wrong_cookies_keep_nobody_from_pairing(served: Served) -> None:
    for _ in range(50):
        served.browser().get("/", headers={"Cookie": "fullturn=forgotten"})
    assert served.controlling.get("/").status_code == 200


def test_the_cookie_has_the_attributes_that_keep_it_here(served: Served) -> None:
    """RFC 6265bis: HttpOnly, SameSite=Strict, Path=/, no Domain, Max-Age; Secure only over https, or it is not kept."""
    for scheme in ("http", "https"):
        answer = served.browser().post(
            f"{scheme}://{HOST}/pair", {"key": served.page.access.keys.see}, headers={"Origin": f"{scheme}://{HOST}"}
        )
        (sent,) = answer.headers.get_list("set-cookie")
        parts = {part.strip().lower().split("=")[0] for part in sent.split(";")[1:]}
        assert parts == {"httponly", "samesite", "path", "max-age"} | ({"secure"} if scheme == "https" else set())
        cookie = SimpleCookie(sent)["fullturn"]
        assert cookie["samesite"].lower() == "strict"
        assert cookie["path"] == "/"
        assert timedelta(seconds=int(cookie["max-age"])) == KEPT_FOR
        assert len(cookie.value) * 6 >= 256  # base64url: 6 bits a character


def test_a_key_is_good_once_and_the_new_ones_are_shown(served: Served) -> None:
    shown: list[str] = []
    served.page.access.tell_keys = shown.append
    for use in ("control", "see"):
        key = getattr(served.page.access.keys, use)
        assert served.browser().post("/pair", {"key": key}).status_code == 200
        assert served.browser().post("/pair", {"key": key}).status_code == 403
    assert shown == ["Phone 1 was paired to control.", "Phone 2 was paired to look on."]


def test_the_file_holds_no_token_and_is_for_its_owner_alone(served: Served) -> None:
    """ASVS V6.1, V12.3: the list of devices is no key, and the page does not show it."""
    browser = served.controlling
    path = served.page.folder.root / PAGE_FILE
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert browser.cookies["fullturn"] not in path.read_text()
    assert served.page.folder.find(PAGE_FILE) is None
    path.chmod(0o644)
    served.page.access.take(served.page.access.devices.devices[0])
    served.browser(served.page.access.keys.see)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_a_page_that_is_started_again_knows_its_devices_and_who_holds_the_controls(served: Served) -> None:
    first, second = served.controlling, served.controlling
    assert second.post("/controls/take").status_code == 200
    again = served_in(served.page.folder.root)
    for browser, holds in ((first, False), (second, True)):
        browser.served = again
        assert browser.get("/controls").json()["holds"] is holds


def test_a_device_that_may_only_look_on_changes_nothing(served: Served) -> None:
    browser = served.looking_on
    answer = browser.post("/controls/take")
    assert answer.status_code == 400
    assert answer.json()["sentence"] == "This device was paired to look on. Pair it again with the key to control."
    assert served.page.access.devices.holder is None


def test_one_device_holds_the_controls_and_another_takes_them_over_openly(served: Served) -> None:
    first, second = served.controlling, served.controlling
    assert first.get("/controls").json() == {"sentence": "This device (Phone 1) holds the controls.", "holds": True}
    assert second.get("/controls").json() == {"sentence": "Phone 1 holds the controls.", "holds": False}
    second.post("/controls/take")
    for browser, holder in ((first, "Phone 2"), (second, "This device (Phone 2)")):
        said = browser.get("/controls").json()["sentence"]
        assert said.startswith(f"{holder} holds the controls. Phone 2 took the controls over from Phone 1 at ")
    assert sum(each.get("/controls").json()["holds"] for each in (first, second)) == 1


def test_a_device_that_is_paired_again_stays_one_and_may_do_what_the_new_key_says(served: Served) -> None:
    browser = served.looking_on
    browser.post("/device/name", {"name": "Left pocket"})
    browser.post("/pair", {"key": served.page.access.keys.control})
    (device,) = served.page.access.devices.devices
    assert (device.name, device.may_control) == ("Left pocket", True)
    assert browser.get("/controls").json()["holds"]
    browser.post("/pair", {"key": served.page.access.keys.see})
    assert served.page.access.devices.holder is None


@pytest.mark.parametrize("name", ["", "  ", "x" * 41, "a\nb", "\x1b[31m"])
def test_a_name_that_cannot_be_one_is_refused(served: Served, name: str) -> None:
    browser = served.controlling
    assert browser.post("/device/name", {"name": name}).status_code == 400
    assert served.page.access.devices.devices[0].name == "Phone 1"


@given(name=st.text(min_size=1, max_size=40))
def test_a_name_is_shown_as_text_whatever_it_is(tmp_path_factory: pytest.TempPathFactory, name: str) -> None:
    """ASVS V5.3.3 (escaping), from memory."""
    served = served_in(tmp_path_factory.mktemp("page"))
    browser = served.controlling
    if browser.post("/device/name", {"name": f"<i>{name[:30]}</i>"}).status_code == 200:
        assert "<i>" not in browser.get("/").text


def test_a_device_unseen_for_thirty_days_is_forgotten(tmp_path: Path) -> None:
    path = tmp_path / PAGE_FILE
    access = Access(path)
    token = access.pair(access.keys.control, "")
    assert token is not None
    old = clock.wall_moment() - KEPT_FOR - timedelta(minutes=1)
    (device,) = access.devices.devices
    save_devices(access.devices.with_devices([device.model_copy(update={"last_seen": old})]), path)
    again = Access(path)
    assert again.device_of(token) is None
    assert again.devices.holder is None
    assert Access(tmp_path / "other.json").device_of(token) is None


def test_forgetting_all_devices_leaves_none(served: Served) -> None:
    browser = served.controlling
    served.page.access.forget_all()
    assert browser.get("/").status_code == 303
    assert load_devices(served.page.folder.root / PAGE_FILE).devices == ()


def test_there_is_a_limit_to_devices_and_the_one_unseen_for_longest_goes(tmp_path: Path) -> None:
    access = Access(tmp_path / PAGE_FILE)
    tokens = [access.pair(access.keys.see, "") for _ in range(MOST_DEVICES + 2)]
    assert len(access.devices.devices) == MOST_DEVICES
    assert len({each.number for each in access.devices.devices}) == MOST_DEVICES
    assert tokens[-1] is not None
    assert access.device_of(tokens[-1]) is not None


@pytest.mark.parametrize(
    "text", ["", "[]", "{}x", '{"version": 2}', '{"devices": [{"number": 1}]}', '{"more": 1}', "\ud800"]
)
def test_a_damaged_list_is_named_with_its_cure_and_not_replaced(tmp_path: Path, text: str) -> None:
    path = tmp_path / PAGE_FILE
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    with pytest.raises(InputError, match="pair the devices again") as refused:
        Access(path)
    assert str(path) in str(refused.value)
    assert path.read_bytes() == text.encode("utf-8", "surrogatepass")


@pytest.mark.parametrize(
    ("agent", "kind"),
    [
        ("Mozilla/5.0 (Linux; Android 15) Mobile", "Phone"), ("Mozilla/5.0 (Linux; Android 15)", "Tablet"),
        ("Mozilla/5.0 (X11; Linux x86_64)", "Computer"), ("curl/8", "Device"), ("", "Device"),
    ],
)  # fmt: skip
def test_a_device_is_named_by_its_kind(agent: str, kind: str) -> None:
    assert kind_of_device(agent) == kind


def test_too_soon_says_how_long(tmp_path: Path) -> None:
    access = Access(tmp_path / PAGE_FILE, now_ns=lambda: 0)
    for _ in range(5):
        assert access.pair("wrong", "") is None
    with pytest.raises(NotNow, match="Wait 1 s"):
        access.pair(access.keys.control, "")
