"""The pad on the simulated rig, in virtual time: the head is at rest soon after the finger is lifted, always."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.capture.lease import LASTS_NS
from controller.capture.pad import NOT_KNOWN, SILENCE_MS, watched
from controller.page.held import AGAIN, ENDED, UNMOVED
from controller.program.build import build_program
from controller.program.program import slowed
from protocol.units import MS, NS
from sim.incidents import Incidents
from sim.scenario import Fault, Scenario
from tests.bench import page_lease
from tests.controller.page.person import PadRig, lease, pad_rig
from tests.end_to_end.whole_runs import kit_of

READY_NS = 20 * NS
"""When zero is found and the way is clear."""
WITHIN_NS = 500 * MS
RAMP_NS = 260 * MS  # a third of 30 deg/s, at 40 deg/s2
LIMITS = {"pan": 370 * 320, "tilt": 95 * 320}


def ready_rig(seed: int = 1, **person: Any) -> PadRig:
    """A rig whose person has answered that all is clear and has found zero by READY_NS."""
    rig = pad_rig(seed, **({"answers": [True]} | person))
    rig.person.at(NS, {"do": "zero", "sent_ns": NS})
    return rig


def break_line(rig: PadRig, kind: str, at_ns: int, **more: Any) -> None:
    rig.rig.incidents = Incidents(Scenario("drawn", "", (Fault(kind, at_s=at_ns / NS, **more),)))


def rests_in_time(rig: PadRig, last_ns: int) -> None:
    assert all(end_ns <= last_ns + WITHIN_NS + RAMP_NS for _, end_ns in rig.turns_since(last_ns)), last_ns


def test_a_finger_turns_the_head_until_it_is_lifted(tmp_path: Path) -> None:
    rig = ready_rig()
    rig.person.press(1, READY_NS, READY_NS + 3 * NS)
    rig.person.leave(READY_NS + 5 * NS)
    assert rig.converse(tmp_path) == ENDED
    begin_ns, end_ns = rig.turns_since(READY_NS)[0][0], rig.turns()[-1][1]
    assert begin_ns < READY_NS + 150 * MS
    assert READY_NS + 3 * NS < end_ns < READY_NS + 3 * NS + 50 * MS + RAMP_NS
    place = rig.person.places()[-1]
    assert place["known"]
    assert 28 < place["yaw_deg"] < 32
    assert place["pitch_deg"] == 0
    assert "The head moves now: right, by your finger. Lifting your finger stops it." in rig.person.sentences()


def test_nothing_moves_before_the_question_was_answered(tmp_path: Path) -> None:
    rig = pad_rig(answers=[False, None])
    rig.person.at(NS, {"do": "zero", "sent_ns": NS})
    rig.person.press(1, 5 * NS, 6 * NS)
    rig.person.at(8 * NS, {"do": "zero", "sent_ns": 8 * NS})
    for number in range(5):  # an answer to a question that is not open, or not yet shown
        rig.person.at(7 * NS + number, {"answer": number + 1, "yes": True})
    rig.person.leave(30 * NS)
    rig.converse(tmp_path)
    assert rig.turns() == []
    assert UNMOVED in rig.person.sentences()
    assert NOT_KNOWN in rig.person.sentences()


def test_the_press_that_brought_up_the_question_does_not_move_the_head(tmp_path: Path) -> None:
    rig = ready_rig(answers=[True, True])
    break_line(rig, "board-reset", 15 * NS)
    rig.person.at(16 * NS, {"do": "zero", "sent_ns": 16 * NS})
    rig.person.answers = [True, None]
    rig.person.press(1, READY_NS, READY_NS + 10 * NS)
    rig.person.leave(READY_NS + 12 * NS)
    rig.converse(tmp_path)
    assert rig.turns_since(16 * NS) == []


def test_after_the_board_restarted_a_press_asks_again(tmp_path: Path) -> None:
    rig = ready_rig(answers=[True, True])
    break_line(rig, "board-reset", READY_NS)
    rig.person.press(1, READY_NS + NS, READY_NS + 2 * NS)
    zero_ns = READY_NS + 3 * NS
    rig.person.at(zero_ns, {"do": "zero", "sent_ns": zero_ns})
    rig.person.leave(READY_NS + 20 * NS)
    rig.converse(tmp_path)
    assert NOT_KNOWN in rig.person.sentences()
    asked = [at for at, said in zip(rig.person.shown_ns, rig.person.said, strict=True) if "ask" in said]
    assert len(asked) == 2
    assert rig.turns_since(READY_NS)[0][0] > asked[1] + 5 * NS


def test_after_the_host_slept_a_press_asks_again(tmp_path: Path) -> None:
    rig = ready_rig(answers=[True, None])
    break_line(rig, "host-asleep", READY_NS, for_s=60.0)
    rig.person.leave(200 * NS)
    rig.person.press(1, READY_NS + 70 * NS, READY_NS + 72 * NS)
    rig.converse(tmp_path)
    assert [each["number"] for each in rig.person.said if "ask" in each] == [1, 2]
    assert rig.turns_since(READY_NS) == []


def test_a_yes_after_a_press_allows_the_next_one(tmp_path: Path) -> None:
    rig = ready_rig(answers=[True, True])
    break_line(rig, "host-asleep", READY_NS, for_s=60.0)
    begin_ns = READY_NS + 70 * NS
    rig.person.leave(begin_ns + 20 * NS)
    rig.person.press(1, begin_ns, begin_ns + 2 * NS)
    rig.person.press(2, begin_ns + 4 * NS, begin_ns + 5 * NS)
    rig.converse(tmp_path)
    assert AGAIN in rig.person.sentences()
    assert min(begin for begin, _ in rig.turns_since(begin_ns)) > begin_ns + 4 * NS


def test_it_stops_at_the_limit_by_itself(tmp_path: Path) -> None:
    rig = ready_rig()
    rig.person.press(1, READY_NS, READY_NS + 15 * NS, pan=0, tilt=-1)
    rig.person.press(2, READY_NS + 17 * NS, READY_NS + 18 * NS, pan=0, tilt=-1)
    rig.person.press(3, READY_NS + 20 * NS, READY_NS + 21 * NS, pan=1, tilt=-1)
    rig.person.leave(READY_NS + 25 * NS)
    rig.converse(tmp_path)
    places = [place["tilt_steps"] for place in rig.person.places()]
    assert min(places) == -LIMITS["tilt"]
    assert "The head is at its limit on that side." in rig.person.sentences()
    assert rig.person.places()[-1]["pan_steps"] > 0  # the axis that has room still turns


@pytest.mark.parametrize("speed", [0, 1])
def test_it_turns_no_faster_than_was_chosen(tmp_path: Path, speed: int) -> None:
    rig = ready_rig()
    rig.person.press(1, READY_NS, READY_NS + 4 * NS, speed=speed)
    rig.person.leave(READY_NS + 6 * NS)
    rig.converse(tmp_path)
    most_deg = 4.2 * 10 * (0.05, 0.25)[speed]
    assert 0.8 * most_deg < rig.person.places()[-1]["yaw_deg"] < most_deg


@pytest.mark.parametrize("message", ["stop", "halt"])
def test_the_stop_button_stops_every_motion_and_asks_again(tmp_path: Path, message: str) -> None:
    rig = ready_rig(answers=[True, None])
    begin_ns = READY_NS
    rig.person.at(begin_ns, {"do": "pose", "yaw_deg": 100, "pitch_deg": 0, "sent_ns": begin_ns})
    for at_ns in (begin_ns + 8 * NS, begin_ns + 8 * NS + 50 * MS):  # hasty fingers
        rig.person.at(at_ns, {message: True})
    rig.person.press(1, begin_ns + 12 * NS, begin_ns + 13 * NS)
    rig.person.leave(begin_ns + 15 * NS)
    assert rig.converse(tmp_path) == ENDED
    assert rig.turns()[-1][1] < begin_ns + 8 * NS + 50 * MS + RAMP_NS
    assert rig.person.places()[-1]["known"] == (message == "stop")


def test_a_person_who_is_not_heard_of_is_gone(tmp_path: Path) -> None:
    rig = ready_rig()
    rig.person.at(READY_NS, {"do": "pose", "yaw_deg": 300, "pitch_deg": 0, "sent_ns": READY_NS})
    rig.person.leave(READY_NS + 60 * NS)
    rig.person.here_until_ns = READY_NS + 6 * NS
    assert rig.converse(tmp_path) == ENDED
    assert READY_NS + 11 * NS < rig.turns()[-1][1] < READY_NS + 11 * NS + 100 * MS + RAMP_NS


def test_the_end_of_the_line_stops_the_head_in_the_middle_of_a_move(tmp_path: Path) -> None:
    rig = ready_rig()
    rig.person.at(READY_NS, {"do": "pose", "yaw_deg": 300, "pitch_deg": 0, "sent_ns": READY_NS})
    rig.person.leave(READY_NS + 8 * NS)
    rig.converse(tmp_path)
    assert READY_NS + 8 * NS < rig.turns()[-1][1] < READY_NS + 8 * NS + 100 * MS + RAMP_NS


def test_an_old_request_to_move_is_dropped(tmp_path: Path) -> None:
    rig = ready_rig()
    rig.person.at(READY_NS, {"do": "step", "pan": 1, "tilt": 0, "size": 0, "sent_ns": READY_NS - 2 * NS})
    rig.person.leave(READY_NS + 5 * NS)
    rig.converse(tmp_path)
    assert rig.turns_since(READY_NS) == []


def test_buttons_turn_by_single_steps(tmp_path: Path) -> None:
    rig = ready_rig()
    for number, size in enumerate((1, 2, 3)):
        at_ns = READY_NS + 3 * number * NS
        rig.person.at(at_ns, {"do": "step", "pan": 0, "tilt": 1, "size": size, "sent_ns": at_ns})
    rig.person.leave(READY_NS + 10 * NS)
    rig.converse(tmp_path)
    assert rig.person.places()[-1]["tilt_steps"] == 320 + 32 + 1


def test_rubbish_is_refused_in_a_sentence_and_moves_nothing(tmp_path: Path) -> None:
    rig = ready_rig()
    messages: list[dict[str, Any]] = [
        lease(1, 1, READY_NS, pan=2),
        lease(1, 1, READY_NS, speed=9),
        {"do": "step", "pan": 1, "tilt": 1, "size": 0, "sent_ns": READY_NS},
        {"do": "pose", "yaw_deg": "far", "pitch_deg": 0, "sent_ns": READY_NS},
        {"go": True},
    ]
    for message in messages:
        rig.person.at(READY_NS, message)
    rig.person.leave(READY_NS + 2 * NS)
    rig.converse(tmp_path)
    assert rig.turns_since(READY_NS) == []
    assert sum("not understood" in sentence for sentence in rig.person.sentences()) == len(messages)


@dataclass(frozen=True)
class Touch:
    """A finger on the pad: how long, whether its release arrives, how many renewals arrive late, and by how much."""

    pause_ms: int
    lasts_ms: int
    released: bool
    late: int
    late_ms: int
    way: tuple[int, int]


touches = st.builds(
    Touch,
    pause_ms=st.integers(0, 900),
    lasts_ms=st.integers(0, 1500),
    released=st.booleans(),
    late=st.integers(0, 4),
    late_ms=st.integers(0, 1500),
    way=st.sampled_from([(1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, 1)]),
)


@settings(max_examples=25)
@given(st.lists(touches, min_size=1, max_size=4))
def test_whatever_is_lost_or_late_the_head_turns_only_while_a_finger_allows_it(
    tmp_path_factory: pytest.TempPathFactory, drawn: list[Touch]
) -> None:
    """Every moment of motion is within the lease of some renewal that arrived in time, plus 0.1 s and a ramp."""
    rig = ready_rig()
    at_ns = READY_NS
    allowed: list[tuple[int, int]] = []
    for press, touch in enumerate(drawn, 1):
        at_ns += touch.pause_ms * MS
        end_ns = at_ns + touch.lasts_ms * MS
        stamps = list(range(at_ns, max(at_ns + 1, end_ns), 100 * MS))
        for number, sent_ns in enumerate(stamps, 1):
            late = number > len(stamps) - touch.late
            rig.person.at(
                sent_ns + (touch.late_ms * MS if late else 0),
                lease(press, number, sent_ns, pan=touch.way[0], tilt=touch.way[1]),
            )
        if touch.released:
            rig.person.at(end_ns, {"release": press})
        last_ns = end_ns if touch.released else stamps[-1] + LASTS_NS
        allowed.append((at_ns, last_ns + 100 * MS + RAMP_NS))
        at_ns = end_ns
    rig.person.leave(at_ns + 5 * NS)
    assert rig.converse(tmp_path_factory.mktemp("kit")) == ENDED
    for begin_ns, end_ns in rig.turns_since(READY_NS):
        assert any(first <= begin_ns and end_ns <= last for first, last in allowed), (begin_ns, end_ns, allowed)
    for place in rig.person.places():
        assert abs(place["pan_steps"]) <= LIMITS["pan"]
        assert abs(place["tilt_steps"]) <= LIMITS["tilt"]


@pytest.mark.parametrize("killed_ms", [0, 7, 40, 133, 390, 777, 1234])
def test_the_board_stops_by_itself_if_the_host_is_killed(tmp_path: Path, killed_ms: int) -> None:
    rig = ready_rig()
    killed_ns = READY_NS + killed_ms * MS
    break_line(rig, "host-killed", killed_ns)
    rig.person.press(1, READY_NS, READY_NS + 3 * NS)
    assert rig.converse(tmp_path) == ""
    rig.let_pass(10 * NS)
    rests_in_time(rig, killed_ns)


@pytest.mark.parametrize("cut_ms", [30, 250, 1111])
def test_the_board_stops_by_itself_if_the_line_is_cut(tmp_path: Path, cut_ms: int) -> None:
    rig = ready_rig()
    cut_ns = READY_NS + cut_ms * MS
    break_line(rig, "line-cut", cut_ns)
    rig.person.press(1, READY_NS, READY_NS + 30 * NS)
    with pytest.raises(Exception, match="does not answer"):
        rig.converse(tmp_path)
    rig.let_pass(10 * NS)
    rests_in_time(rig, cut_ns)


@pytest.mark.parametrize("baud", [1200, 9600, 115_200, 1_000_000])
def test_the_board_is_asked_at_least_twice_within_its_patience(baud: int) -> None:
    slow = slowed(build_program(kit_of(board={"baud": baud, "silence_ms": 20_000}), ()))
    program = watched(slow)
    frame_ns = 2 * 10 * 50 * NS // baud
    assert program.silence_ms * MS / 2 >= program.retry_ns
    assert program.silence_ms <= max(SILENCE_MS, 2 * (100 + 3 * frame_ns / MS))
    assert program.tries * program.retry_ns >= slow.tries * slow.retry_ns
    if baud >= 115_200:
        assert program.silence_ms == SILENCE_MS


@pytest.mark.parametrize("number", range(15))
def test_however_a_touch_ends_the_head_is_at_rest_in_time(tmp_path: Path, number: int) -> None:
    """The first cases of the group `page_lease` of the bench, which has 200 of them."""
    late_ns = page_lease.rest_after_ns(page_lease.drawn_case(number), tmp_path)
    assert late_ns is None or late_ns <= WITHIN_NS
