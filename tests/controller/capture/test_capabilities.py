"""What a run takes a board to be able to do: what its latest Welcome says, whatever an earlier one said."""

from __future__ import annotations

import pytest

from controller.capture.effects import Send
from controller.capture.events import EventKind
from controller.capture.states import RunState
from protocol.messages import ZERO_SWITCHES, Capability, SetShaper
from protocol.units import AxisId
from tests.controller.capture.told import OTHER_BOOT, Told


@pytest.mark.parametrize("before", [None, Capability(0), Capability.SHAPER, ~Capability(0)])
@pytest.mark.parametrize("after", [Capability(0), Capability.SHAPER, ZERO_SWITCHES, ~Capability(0)])
def test_a_board_can_do_what_its_latest_welcome_says(before: Capability | None, after: Capability) -> None:
    """Between two starts a board may get other firmware, with fewer capabilities or none."""
    told = Told()
    told.hear(EventKind.START)
    if before is not None:
        told.hear(EventKind.WELCOMED, boot_id=OTHER_BOOT, capabilities=before)
        told.hear(EventKind.RESTARTED)
        told.hear(EventKind.WAITED)
    told.hear(EventKind.WELCOMED, capabilities=after)
    if told.stands_in() is RunState.QUIETING:
        told.hear(EventKind.AT_REST)
    assert told.run.board.capabilities == after
    requests = [effect.request for effect in told.effects if isinstance(effect, Send)]
    shapers = [request.axis for request in requests if isinstance(request, SetShaper)]
    assert shapers == (list(AxisId) if Capability.SHAPER in after else [])
