"""`fullturn page` as a process: what its terminal shows, which addresses it has, and how it ends."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
from ipaddress import ip_address
from pathlib import Path
from urllib.error import HTTPError
from urllib.request import Request, urlopen

import numpy as np
import pytest

from controller.errors import WorldError
from controller.page import hosts
from controller.page.access import PairingKeys
from controller.page.link_words import ALL_MAY_READ, QUIET_MODULES, keys_text, pairing_link, qr_code
from controller.page.serving import PagePlace, PageServed, listening, served_text

KEYS = PairingKeys("abcde-fgh23", "jkmnp-qrs45")


def start(folder: Path, *options: str) -> tuple[subprocess.Popen[str], dict[str, object]]:
    """Start the page at a free port of this machine; the first thing that it says."""
    command = [sys.executable, "-m", "controller", "page", str(folder), "--port-number", "0", "--json", *options]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stdout is not None
    return process, json.loads(process.stdout.readline())


def test_the_page_comes_up_pairs_a_device_keeps_it_and_ends_in_order(tmp_path: Path) -> None:
    """A page that is killed and started again knows its devices; a second page of one folder is refused."""
    process, said = start(tmp_path)
    site = f"http://127.0.0.1:{said['port']}"
    try:
        key = json.dumps({"key": said["control_key"]}).encode()
        paired = urlopen(Request(f"{site}/pair", key, {"Content-Type": "application/json", "Origin": site}), timeout=20)
        cookie = paired.headers["Set-Cookie"].split(";")[0]
        assert process.stdout is not None
        news = json.loads(process.stdout.readline())
        assert news["news"] == "Device 1 was paired to control."
        assert news["control_key"] != said["control_key"]
        assert news["look_on_key"] == said["look_on_key"]
        second = [sys.executable, "-m", "controller", "page", str(tmp_path), "--port-number", "0"]
        refused = subprocess.run(second, capture_output=True, text=True, timeout=60, check=False)
        assert refused.returncode == 1
        assert f"is in use by process {process.pid} (serving the page)" in refused.stderr
    finally:
        process.kill()
        process.communicate(timeout=60)
    process, said = start(tmp_path)
    name, _, token = cookie.partition("=")
    assert name.startswith("fullturn-")
    site, name = f"http://127.0.0.1:{said['port']}", f"fullturn-{said['port']}"
    stream = urlopen(Request(f"{site}/events", headers={"Cookie": f"{name}={token}"}), timeout=20)
    assert stream.readline() == b"retry: 1000\n"
    process.send_signal(signal.SIGINT)
    assert b"This device (Device 1) holds the controls." in stream.read()
    out, err = process.communicate(timeout=60)
    assert (process.returncode, out, err) == (0, "", "")


def test_a_damaged_cookie_and_a_refusal_are_one_line_on_stderr(tmp_path: Path) -> None:
    process, said = start(tmp_path)
    with pytest.raises(HTTPError, match="401"):
        urlopen(f"http://127.0.0.1:{said['port']}/events", timeout=20)
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=60)
    assert err == "Refused (127.0.0.1): its device is not paired: /events\n"


def test_by_itself_the_page_listens_on_this_machine_only() -> None:
    sockets = listening(PagePlace(0))
    try:
        addresses = [each.getsockname()[0] for each in sockets]
        assert addresses[0] == "127.0.0.1"
        assert all(ip_address(each).is_loopback for each in addresses)
        assert len({each.getsockname()[1] for each in sockets}) == 1
        with pytest.raises(WorldError, match=r"another program uses it\. Choose another --port-number"):
            listening(PagePlace(sockets[0].getsockname()[1]))
    finally:
        for each in sockets:
            each.close()


def test_only_names_of_this_computer_are_its_hosts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(socket, "gethostname", lambda: "Bag")
    monkeypatch.setattr(hosts, "network_addresses", lambda: ["192.0.2.9", "2001:db8::9"])
    here = {"127.0.0.1:81", "localhost:81", "[::1]:81"}
    assert hosts.hosts_of(81, lan=False) == here
    assert hosts.hosts_of(81, lan=True) == here | {"192.0.2.9:81", "[2001:db8::9]:81", "bag:81", "bag.local:81"}
    assert "localhost" in hosts.hosts_of(80, lan=False)  # a browser leaves the usual port out (RFC 9110, 4.2.3)


def test_no_address_to_print_is_one_that_another_device_cannot_use() -> None:
    for address in hosts.network_addresses():
        known = ip_address(address)
        assert not known.is_loopback
        assert not known.is_link_local


def test_the_key_is_behind_the_sign_that_browsers_keep_to_themselves() -> None:
    """RFC 9110, section 4.2.5: the fragment is not sent."""
    link = pairing_link("192.0.2.9", 8360, KEYS.control)
    assert link == "http://192.0.2.9:8360/pair#abcde-fgh23"


def test_the_code_in_the_terminal_is_read_by_a_reader_of_such_codes() -> None:
    """OpenCV's reader, from the characters alone: each holds two modules, one above the other."""
    cv2 = pytest.importorskip("cv2")
    link = pairing_link("192.0.2.109", 8360, KEYS.control)
    light = _modules(qr_code(link))
    assert light[:QUIET_MODULES].all()
    assert light[-QUIET_MODULES:].all()
    assert light[:, :QUIET_MODULES].all()
    assert light[:, -QUIET_MODULES:].all()
    picture = np.kron(light.astype(np.uint8) * 255, np.ones((8, 8), np.uint8))
    assert cv2.QRCodeDetector().detectAndDecode(picture)[0] == link


def _modules(text: str) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Which modules of a code are light, from half blocks. A code is as high as wide; it may end amid a line."""
    halves = {"█": (True, True), "▀": (True, False), "▄": (False, True), " ": (False, False)}
    rows: list[list[bool]] = []
    for line in text.splitlines():
        signs = [halves[sign] for sign in line if sign in halves]
        if signs:
            rows += [[upper for upper, _ in signs], [lower for _, lower in signs]]
    return np.array(rows[: len(rows[0])])


def test_the_sentences_name_keys_addresses_and_cautions() -> None:
    served = PageServed("FOLDER", 8360, ("192.0.2.9", "[2001:db8::9]"), KEYS.control, KEYS.see)
    near, far = served_text(served, lan=False), served_text(served, lan=True)
    for text in (near, far):
        assert "not an emergency stop" in text
        assert "http://192.0.2.9:8360/pair#abcde-fgh23" in text
        assert "http://[2001:db8::9]:8360/pair#jkmnp-qrs45" in text
    assert ALL_MAY_READ in far
    assert ALL_MAY_READ not in near
    alone = PageServed("FOLDER", 8360, ("localhost",), KEYS.control, KEYS.see)
    assert "on no network yet" in served_text(alone, lan=True)
    again = PageServed("FOLDER", 8360, ("localhost",), KEYS.control, KEYS.see, "Phone 1 was paired to control.")
    assert served_text(again, lan=False).startswith("Phone 1 was paired to control. New keys:\n")
    assert "abcde-fgh23" in keys_text(KEYS, ["localhost"], 8360, with_code=False)
