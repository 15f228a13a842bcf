"""`fullturn board check` and `listen`, around what they check and decode: their announcements, and how they end."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from controller.capture.gate import Gate
from controller.commands.board import find_command
from controller.commands.listen import decode_command
from controller.commands.stand_in import rig_spec
from controller.conformance.battery import RuleResult, wait_battery
from controller.conformance.reach import Reach, reach_of
from controller.conformance.rules import RULES
from controller.conformance.talk import Talk
from controller.ports import find
from controller.ports.listening import wait_traffic
from controller.ports.traffic import Heard
from protocol.codec import PROTOCOL_VERSION, frame_of
from protocol.framing import LEAD
from protocol.messages import BoardState, Cause, GetStatus
from protocol.units import NS
from sim.rig import Rig
from sim.virtual_port import VirtualPort
from tests.bench.figures import full_frame_kit
from tests.controller.commands.shell import Shell
from tests.controller.conformance import liars
from tests.protocol.golden import EXCHANGE

WIRE = b"".join(frame_of(message, seq) for _, seq, message in EXCHANGE)


class Watched:
    """A battery on a simulated rig, with the time of every sentence and every step."""

    lead_ns = 0

    def __init__(self, interrupt_at_s: float | None = None, reach: Reach | None = None) -> None:
        self.reach = reach or Reach()
        self.rig = Rig(rig_spec(full_frame_kit(24), 1))
        self.port = VirtualPort(self.rig)
        self.said: list[tuple[int, str]] = []
        self.turned: list[int] = []
        self.armed: list[int] = []
        advance = self.rig.advance

        def watch(now_ns: int) -> None:
            advance(now_ns)
            if interrupt_at_s is not None and now_ns > interrupt_at_s * NS and not self.rig.host.killed:
                self.rig.advance = advance  # type: ignore[method-assign]
                raise KeyboardInterrupt
            if any(axis.motion.speed_at(now_ns + 1) for axis in (self.rig.head.pan, self.rig.head.tilt)):
                self.turned.append(now_ns)
            if self.rig.board._silence_ns:
                self.armed.append(now_ns)

        self.rig.advance = watch  # type: ignore[method-assign]

    def run(self, may_move: Callable[[], bool]) -> list[RuleResult]:
        gate = Gate(self.port.now, lambda text, _: self.said.append((self.port.now(), text)))
        talk = Talk(self.port, reach=self.reach, gate=gate)
        return wait_battery(talk, may_move, lambda _: None, self.lead_ns)


def test_words_come_before_the_motors_are_switched_on_and_before_each_step() -> None:
    watched = Watched()
    verdicts = watched.run(lambda: True)
    assert all(verdict.kept for verdict in verdicts)
    assert len(watched.said) == 1 + sum(bool(rule.motion) for rule in RULES)
    assert "one that is broken may move" in watched.said[0][1]
    for _, text in watched.said:
        assert "Ctrl-C, or the stop switch" in text
        assert "a tilt may drop" in text
    first_ns = next(at for at, text in watched.said if "search for zero" in text)
    assert min(watched.turned) >= first_ns
    assert min(watched.armed) >= watched.said[0][0]
    ends = [at for at, _ in watched.said[1:]] + [watched.port.now()]
    for (begin, text), end in zip(watched.said, ends, strict=True):
        if "nothing turns" in text:
            assert not [at for at in watched.turned if begin <= at < end]


def test_somebody_at_the_head_is_told_in_time_before_each_motion() -> None:
    watched = Watched()
    watched.lead_ns = 5 * NS
    watched.run(lambda: True)
    for at in watched.turned:
        assert at - max(told for told, _ in watched.said if told <= at) >= watched.lead_ns


def test_without_leave_nothing_turns() -> None:
    watched = Watched()
    verdicts = watched.run(lambda: False)
    assert watched.turned == []
    assert [verdict.rule for verdict in verdicts if verdict.kept is None] == [rule.name for rule in RULES if rule.moves]
    assert all("not allowed" in verdict.seen for verdict in verdicts if verdict.kept is None)


@pytest.mark.parametrize("moment_s", [3.2, 5.0, 6.1, 8.0, 9.5, 12.0])
def test_ctrl_c_stops_the_head(moment_s: float) -> None:
    watched = Watched(moment_s)
    with pytest.raises(KeyboardInterrupt):
        watched.run(lambda: True)
    now = watched.port.now()
    watched.port.wait_bytes(now + 30_000_000)
    watched.port.wait_bytes(now + NS)
    while watched.port.now() < now + NS:
        watched.port.wait_bytes(now + NS)
    assert watched.rig.board._state is BoardState.DISARMED
    assert watched.rig.board._cause in {Cause.HOST_STOP, Cause.HOST_HALT, Cause.HOST_SILENCE}
    assert not any(axis.motion.speed_at(now + NS) for axis in (watched.rig.head.pan, watched.rig.head.tilt))


@pytest.mark.parametrize("reach", [Reach(), reach_of(full_frame_kit(24))], ids=["without a kit", "with a kit"])
def test_zero_that_is_not_found_is_looked_for_once(reach: Reach) -> None:
    watched = Watched(reach=reach)
    watched.rig.head.tilt.flag_deg = 1e5
    verdicts = watched.run(lambda: True)
    by_name = {verdict.rule: verdict for verdict in verdicts}
    assert by_name["move"].kept is (False if reach.pan.known else None)
    assert "no switch of tilt was met" in by_name["move"].seen
    assert {by_name[rule.name].kept for rule in RULES if rule.searches and rule.name != "move"} == {None}
    assert by_name["busy"].seen == "zero was not found"
    assert by_name["expose"].kept
    assert sum("search for zero" in text for _, text in watched.said) == 1


class Opened(VirtualPort):
    """A virtual port that is opened and closed like a serial one."""

    url = "there"

    def __enter__(self) -> Opened:
        return self

    def __exit__(self, *_: object) -> None: ...


def test_a_board_of_another_version_is_not_called_silent(monkeypatch: pytest.MonkeyPatch, shell: Shell) -> None:
    rig = Rig(rig_spec(full_frame_kit(24), 1))
    liars.of_another_major_version(3, 1, refuses=True)(rig.board)

    monkeypatch.setattr("controller.commands.board.SerialPort", lambda *_: Opened(rig))
    told = shell("board", "check", "--port", "there")
    assert told.status == 1
    ours = ".".join(map(str, PROTOCOL_VERSION))
    assert f"speaks version 3.1 of the protocol, and this program {ours}" in told.err
    monkeypatch.setattr(find, "SerialPort", lambda *_: Opened(rig))
    monkeypatch.setattr(find, "ports", lambda: [("there", "an adapter", None)])
    assert "speaks version 3.1" in shell("board", "find").out


@pytest.mark.parametrize("shapes", [True, False])
def test_a_board_that_is_found_says_whether_it_shapes(
    shapes: bool, monkeypatch: pytest.MonkeyPatch, shell: Shell
) -> None:
    rig = Rig(replace(rig_spec(full_frame_kit(24), 1), shapes=shapes))

    monkeypatch.setattr(find, "SerialPort", lambda *_: Opened(rig))
    monkeypatch.setattr(find, "ports", lambda: [("there", "an adapter", None)])
    found = shell("board", "find").out
    assert re.search(r"a board, boot [0-9a-f]{8}, (shapes|does not shape) its ramps\n", found)
    assert ("does not shape its ramps" in found) is not shapes


def test_a_port_is_listed_by_all_that_is_known_of_it(monkeypatch: pytest.MonkeyPatch, shell: Shell) -> None:
    monkeypatch.setattr(find, "SerialPort", lambda *_: Opened(Rig(rig_spec(full_frame_kit(24), 1))))
    monkeypatch.setattr(find, "ports", lambda: [("there", "an adapter", "A7"), ("elsewhere", "", None)])
    lines = shell("board", "find").out.splitlines()
    assert [line.partition(": ")[0] for line in lines] == ["there  usb:A7  an adapter", "elsewhere"]


def test_a_named_port_alone_is_tested(monkeypatch: pytest.MonkeyPatch, shell: Shell) -> None:
    opened = []

    def open_(url: str, baud: int) -> Opened:
        opened.append((url, baud))
        return Opened(Rig(rig_spec(full_frame_kit(24), 1)))

    monkeypatch.setattr(find, "SerialPort", open_)
    monkeypatch.setattr(find, "ports", lambda: [("there", "an adapter", None)])
    found = shell("board", "find", "--port", "socket://192.0.2.7:7000", "--baud", "19200").out
    assert opened == [("socket://192.0.2.7:7000", 19_200)]
    assert re.fullmatch(r"socket://192.0.2.7:7000: a board, boot [0-9a-f]{8}, shapes its ramps\n", found)


def test_a_named_port_that_is_no_port(shell: Shell) -> None:
    (shell.folder / "kit.toml").write_text("")
    assert "is a file, not a port" in shell("board", "find", "--port", "kit.toml").out


@pytest.mark.parametrize("words", [(), ("--json",)])
def test_listen_to_a_file(shell: Shell, words: tuple[str, ...]) -> None:
    (shell.folder / "line.raw").write_bytes(WIRE + LEAD + b"\x07\x08\0")
    told = shell("board", "listen", "--from", "line.raw", *words)
    assert (told.status, told.err) == (0, "")
    lines = told.out.splitlines()
    if not words:
        assert len([line for line in lines if "  seq " in line]) == len(EXCHANGE)
        assert "damaged, wrong check: 07 08" in told.out or "damaged" in told.out
        assert lines[-1].startswith("damaged runs: 1")
        return
    rows = [json.loads(line) for line in lines]
    assert [row["name"] for row in rows[: len(EXCHANGE)]] == [type(message).__name__ for _, _, message in EXCHANGE]
    assert rows[len(EXCHANGE)]["data"] == "0708"
    assert rows[-1]["summary"]["damaged"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "--port or --from is missing"),
        (("--tap",), "--port or --from is missing"),
        (("--port", "x", "--from", "kit.toml"), "Give --port or --from, not both"),
        (("--from", "kit.toml", "--tap"), "--tap has no effect without --port"),
    ],
)
def test_listen_wants_one_source(shell: Shell, words: tuple[str, ...], said: str) -> None:
    told = shell("board", "listen", *words)
    assert told.status == 2
    assert said in told.err


class Interrupted(VirtualPort):
    """A port on which Ctrl-C comes at a given time."""

    def __init__(self, rig: Rig, at_s: float) -> None:
        super().__init__(rig)
        self._at_ns = round(at_s * NS)

    def wait_bytes(self, deadline_ns: int | None) -> bytes:
        data = super().wait_bytes(min(self._at_ns, deadline_ns or self._at_ns))
        if not data and self.now() >= self._at_ns:
            raise KeyboardInterrupt
        return data


@pytest.mark.parametrize("asks", [True, False])
def test_listen_until_ctrl_c(asks: bool) -> None:
    """Alone on the line it asks once a second and shows both ends; as a tap it sends nothing."""
    rig = Rig(rig_spec(full_frame_kit(24), 1))
    shown: list[Heard] = []
    summary = wait_traffic(Interrupted(rig, 5.5), asks=asks, show=shown.append)
    if asks:
        assert summary.host == {"Hello": 1, "GetStatus": 5}
        assert summary.board == {"Booted": 1, "Welcome": 1, "Status": 5}
        asked = [one.at_s for one in shown if one.name == "GetStatus"]
        assert asked == pytest.approx([1, 2, 3, 4, 5], abs=0.05)
    else:
        assert summary.host == {}
        assert summary.board == {"Booted": 1}
    assert summary.damaged.total() == 0
    assert len(shown) == summary.host.total() + summary.board.total()


def test_listen_to_a_line_with_noise() -> None:
    rig = Rig(rig_spec(full_frame_kit(24), 1))
    rig.to_host.send(0, LEAD + b"\x11\x22\x33\x44\0")
    shown: list[Heard] = []
    summary = wait_traffic(Interrupted(rig, 2.5), asks=True, show=shown.append)
    assert summary.damaged.total() == 1
    assert [one.data for one in shown if one.seq is None] == [b"\x11\x22\x33\x44"]


def test_decoding_reads_in_pieces(tmp_path: Path) -> None:
    del tmp_path
    shown: list[Heard] = []
    summary = decode_command(io.BytesIO(frame_of(GetStatus(), 1) * 2000), shown.append)
    assert summary.host == {"GetStatus": 2000}
    assert {one.at_s for one in shown} == {None}


def test_a_port_that_cannot_be_opened_is_named_once() -> None:
    (found,) = find_command(115200, "socket://127.0.0.1:9")
    assert found.answer.startswith("cannot be opened")
    assert found.port == "socket://127.0.0.1:9"
