"""The message rate and the flood of damage: both run, with correct results. No test reads the clock."""

from __future__ import annotations

from random import Random

import pytest

from protocol.board_link import OUTBOX_FRAMES
from protocol.codec import frame_of
from protocol.framing import MAX_ENCODED, Deframer
from protocol.host_link import INBOX_FRAMES
from tests.protocol.golden import VECTORS
from tests.protocol.rates import damage, fuzz, message_rate


def test_the_rate_counts_messages_that_came_back() -> None:
    assert message_rate(1) > 0
    assert message_rate(500) > 0


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_flood_is_survived(seed: int) -> None:
    counts = fuzz(1_000_000, seed)
    assert counts.fed >= 1_000_000
    assert counts.intact > 5_000
    assert counts.damaged > 10_000
    assert counts.heard >= counts.intact  # noise costs no frame
    assert counts.unsent_from_damage == 0
    assert counts.unsent_from_noise == 0  # chance, see FuzzCounts; certain for these seeds
    assert counts.unsent_at_links == 0
    assert counts.longest_tail == MAX_ENCODED  # the bounds were reached
    assert counts.longest_queue == max(INBOX_FRAMES, OUTBOX_FRAMES)


def test_a_flood_is_the_same_each_time() -> None:
    assert fuzz(20_000, 4) == fuzz(20_000, 4)


def test_damage_is_damage() -> None:
    rng = Random(1)
    heard = 0
    for _, seq, message in VECTORS:
        wire = frame_of(message, seq)
        for _ in range(50):
            wrong = damage(wire, rng)
            assert wrong != wire
            heard += len(Deframer().feed(wrong))
    assert heard <= len(VECTORS) * 50 // 20  # to a receiver, an additional zero in front makes no difference
