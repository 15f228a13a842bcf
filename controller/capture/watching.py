"""What is watched between the photographs: whether zero is where it should be, and whether it blows too hard.

A board notes where the switches at zero change during a move. The program knows which moves may pass them; after such a
move the board is asked, which takes a few milliseconds. A switch that was not passed, or was passed elsewhere, means that
steps were counted that were not made (or that the switch itself has moved): zero is found again, and what was shot since
it was last seen in its place is suspect and shot again. What is seen in its place was so during the move that has just
ended, so it speaks for everything that was shot before that move, and for nothing after it.
"""

from typing import Any

from controller.capture.acting import Acting
from controller.capture.belief import SWITCHES
from controller.capture.effects import Checked, Listen, Send, Timer
from controller.capture.events import Event
from controller.capture.recovery import PATIENCE_NS
from controller.program.build import home_steps
from controller.program.index import Found
from controller.program.program import Crossing
from protocol.messages import GetIndex
from protocol.units import NS

MOST_TIMES_OFF = 3
LOOKS_AT_WIND_EVERY_NS = 5 * NS


class Watching(Acting):
    """Conditions, notes and actions of the checks."""

    # Conditions.

    def goes_on_unseen(self, data: Any) -> bool:
        """The position is known from an earlier run, and where the switches were seen by then is not."""
        return self.position_known and not self.nothing_left(data) and self.look_is_due(data) and self.edges is None

    def index_is_off(self, _: Any) -> bool:
        """A switch was not where it should be."""
        return bool(self.off)

    def index_is_off_again(self, _: Any) -> bool:
        """And that too often to go on."""
        return bool(self.off) and self.times_off >= MOST_TIMES_OFF

    def must_bring_home(self, _: Any) -> bool:
        """A switch was not where it should be, and the other axis has none to find its own zero by."""
        return bool(self.off) and bool(self._blind())

    def it_has_blown(self, _: Any) -> bool:
        """It blew too hard until now, so the head must come to rest first."""
        return self.windy_since_ns is not None

    def wind_lasts(self, data: Any) -> bool:
        """It has blown too hard for too long."""
        event: Event = data.kwargs["event"]
        return self.windy_since_ns is not None and event.at_ns - self.windy_since_ns > PATIENCE_NS

    # Notes.

    def note_index(self, data: Any) -> None:
        """Compare what the board has seen of the switches with what it should have seen."""
        event: Event = data.kwargs["event"]
        assert event.index is not None
        index = event.index
        seen = {
            "pan": (index.pan_edges, index.pan_steps, index.pan_edge),
            "tilt": (index.tilt_edges, index.tilt_steps, index.tilt_edge),
        }
        self.off = []
        if self.edges is not None and self.last_move is not None:
            crossings = {"pan": self.last_move.pan, "tilt": self.last_move.tilt}
            for axis in self.zones:
                count, steps, how = seen[axis]
                found = self.zones[axis].judge(steps, how) if count != self.edges[axis] else None
                self._note_axis(axis, crossings[axis], found)
        self.edges = {axis: count for axis, (count, _, _) in seen.items()}
        if not self.off:
            self.take_up_more()

    def _note_axis(self, axis: str, crossing: Crossing, found: Found | None) -> None:
        """What was found of the switch of one axis after a move, None if it has not changed."""
        if not crossing.may:
            return
        if found is Found.IN_PLACE:
            self.unchecked[axis].clear()
            self.effects.append(Checked((axis,)))
        elif found is Found.ELSEWHERE or (found is None and crossing.must and axis not in self.newly):
            self.off.append(axis)
        if found is not None:
            self.newly.add(axis)
        if crossing.ends_clear:
            self.newly.discard(axis)

    # Actions.

    def look(self, _: Any) -> None:
        """Ask the board where it saw the switches."""
        self.effects += [Timer(None, overdue=False), Send(GetIndex())]

    def distrust(self, data: Any) -> None:
        """Find zero again, and shoot again what may have been shot askew."""
        self.lose_place()
        self.times_off += 1
        self.begin_pass(self.left)
        self.reference(data)

    def bring_home(self, data: Any) -> None:
        """Take an axis without a switch back to zero first: the board takes for its zero wherever it then stands."""
        assert self.last_move is not None
        blind, last = self._blind(), self.last_move
        self.lose_place()
        self.times_off += 1
        self.begin_pass(self.left)
        standing = (last.pan_steps, last.tilt_steps)
        frame = next(frame for frame in self.program.frames if frame.id == last.frame)
        home = home_steps(self.program.kit, frame, standing, ("pan" in blind, "tilt" in blind))
        self.steps, self.home_left = (*home, *self.steps), len(home)
        self.move(data)

    def _blind(self) -> list[str]:
        """The axes on which the board has no switch."""
        return [axis for axis, switch in SWITCHES.items() if not switch & self.capabilities]

    def stop_distrust(self, data: Any) -> None:
        """It happens again and again: somebody must look at the head."""
        self.lose_place()
        self.why = (
            f"The switch at zero of {' and '.join(self.off)} was found elsewhere {self.times_off + 1} times: "
            "check belt, screws, balance and motor current, then go on; what is suspect is shot again."
        )
        self._stop(data)

    def listen(self, _: Any) -> None:
        """Ask whether it blows too hard."""
        self.effects += [Timer(None, overdue=False), Listen()]

    def wait_for_calm(self, data: Any) -> None:
        """It does: ask again after a while."""
        event: Event = data.kwargs["event"]
        if self.windy_since_ns is None:
            self.windy_since_ns = event.at_ns
        self.effects.append(Timer(event.at_ns + LOOKS_AT_WIND_EVERY_NS, overdue=False))

    def settle_again(self, data: Any) -> None:
        """The wind has dropped: let the head come to rest as after a move, and ask once more."""
        event: Event = data.kwargs["event"]
        if self.windy_since_ns is not None and event.at_ns - self.windy_since_ns > 2 * LOOKS_AT_WIND_EVERY_NS:
            self.shut()  # somebody may have come to shelter it
        self.windy_since_ns = None
        settle_ns = self.last_move.settle_ns if self.last_move is not None else 0
        self.still_at_ns = event.at_ns + settle_ns
        self.effects.append(Timer(self.still_at_ns, overdue=False))

    def stop_wind(self, data: Any) -> None:
        """It does not drop."""
        self.why = "It has blown too hard for half an hour; shelter the head or wait for calm, then go on."
        self._stop(data)
