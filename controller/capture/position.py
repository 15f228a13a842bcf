"""Whether the position of the head is known, and which exposures depend on that.

A board records where the switches at zero change during a move. A switch passed in its place confirms everything exposed
before that move. If the position is lost, what was exposed since then can never be checked: it is suspect.
"""

from controller.capture.belief import SWITCHES
from controller.kit.kit import Kit
from controller.program.index import Found, Zone, zone_of
from controller.program.program import Crossing, Exposure, MoveStep
from controller.session.rows import AXES, Remembered
from protocol.messages import ZERO_SWITCHES, Capability, Index

Edges = dict[str, int]


class Position:
    """What is known of the head's position. `by_hand` are the frames for which it does not turn."""

    def __init__(self, kit: Kit, remembered: Remembered, by_hand: set[int]) -> None:
        self._zones = _zones(kit)
        self._by_hand = by_hand
        self.switches = Capability(0)  # as the board reports
        self.known = self.was_set = remembered.boot_id is not None  # unless the board reports otherwise
        self.standing: tuple[int, int] | None = None  # pan and tilt in steps
        self.last_move: MoveStep | None = None  # the latest move, since zero was found
        self.home_left = 0  # moves that bring an axis without a switch back to zero before zero is found again
        # The exposures since zero was last found in its place, for each axis that can be checked.
        self.unchecked: dict[str, list[Exposure]] = {
            axis: [made for made in remembered.unchecked.get(axis, ()) if made[0] not in by_hand] for axis in self._zones
        }
        # Exposures under zeros that no switch can check.
        blind = [axis for axis in AXES if axis not in self._zones]
        self.uncheckable = [made for axis in blind for made in remembered.unchecked.get(axis, ())]
        self.edges: Edges | None = None  # count of changes of each switch when the board was last asked
        self.newly: set[str] = set()  # axes whose switch has changed since they were last clear of it
        self.off: list[str] = []  # axes whose switch was not in its place
        self.times_off = 0

    # Questions.

    @property
    def zones(self) -> dict[str, Zone]:
        """The axes whose zero both the kit and the board can check, and how."""
        return {axis: zone for axis, zone in self._zones.items() if SWITCHES[axis] & self.switches}

    @property
    def blind(self) -> list[str]:
        """The axes on which the board has no switch."""
        return [axis for axis, switch in SWITCHES.items() if not switch & self.switches]

    @property
    def must_be_found(self) -> bool:
        """Whether a reference run must come first."""
        return not self.known and not self.home_left

    @property
    def look_is_owed(self) -> bool:
        """Whether anything was exposed since zero was last found in its place, on an axis that can be checked."""
        return any(self.unchecked[axis] for axis in self.zones)

    @property
    def look_is_due(self) -> bool:
        """Whether to ask the board about the switches: for the first time, or after a move that may have passed one."""
        if not self.zones:
            return False
        return self.edges is None or (self.last_move is not None and self.last_move.looks)

    @property
    def made_since_checked(self) -> set[Exposure]:
        """All exposures since zero was last found in its place on any axis."""
        return {made for axis in self.unchecked.values() for made in axis}

    def is_lost(self, *, zero_is_here: bool) -> bool:
        """Whether the position is unknown and an axis has no switch to find it again.

        `zero_is_here`: the head is at its mark when a run begins, so zero may be set there for the first time.
        """
        lost = self.must_be_found and self.switches & ZERO_SWITCHES != ZERO_SWITCHES
        return lost and (self.was_set or not zero_is_here)

    # Changes.

    def find(self) -> None:
        """Note that zero was found."""
        self.known = self.was_set = True
        self.standing = (0, 0)
        self.forget_edges()

    def forget_edges(self) -> None:
        """Forget the record of the switches: the board must be asked again before anything moves."""
        self.last_move = self.edges = None
        self.newly = set()

    def arrive(self, move: MoveStep) -> bool:
        """Note the end of a move. Returns whether it was one of the moves back to zero."""
        self.last_move = move
        self.standing = (move.pan_steps, move.tilt_steps)
        if not self.home_left:
            return False
        self.home_left -= 1
        self.was_set = self.home_left > 0  # at zero, it may be set again from the head's position
        return True

    def count(self, exposure: Exposure) -> None:
        """Note an exposure: it waits for a check."""
        if exposure[0] not in self._by_hand:
            for made in self.unchecked.values():
                made.append(exposure)
            if len(self.unchecked) < len(AXES):
                self.uncheckable.append(exposure)

    def lose(self) -> set[Exposure]:
        """Note that the position is unknown. Returns the exposures that can never be checked any more."""
        self.known, self.standing, self.home_left = False, None, 0
        suspect = {made for axis in self.zones for made in self.unchecked[axis]}
        for made in self.unchecked.values():
            made.clear()
        return suspect

    def compare(self, index: Index) -> list[str]:
        """Compare the board's record of the switches with the expected one.

        Returns the axes whose switch was in its place; those where it was not are in `off`.
        """
        seen = {
            "pan": (index.pan_edges, index.pan_steps, index.pan_edge),
            "tilt": (index.tilt_edges, index.tilt_steps, index.tilt_edge),
        }
        self.off, in_place = [], []
        if self.edges is not None and self.last_move is not None:
            crossings = {"pan": self.last_move.pan, "tilt": self.last_move.tilt}
            for axis in self.zones:
                count, steps, how = seen[axis]
                found = self.zones[axis].judge(steps, how) if count != self.edges[axis] else None
                if self._judge(axis, crossings[axis], found):
                    in_place.append(axis)
        self.edges = {axis: count for axis, (count, _, _) in seen.items()}
        return in_place

    def _judge(self, axis: str, crossing: Crossing, found: Found | None) -> bool:
        """Whether an axis passed its switch in its place; `found` is None if the switch has not changed."""
        if not crossing.may:
            return False
        if found is Found.IN_PLACE:
            self.unchecked[axis].clear()
        elif found is Found.ELSEWHERE or (found is None and crossing.must and axis not in self.newly):
            self.off.append(axis)
        if found is not None:
            self.newly.add(axis)
        if crossing.ends_clear:
            self.newly.discard(axis)
        return found is Found.IN_PLACE


def _zones(kit: Kit) -> dict[str, Zone]:
    """How the zero of each axis is checked, according to the kit; without axes that cannot be checked."""
    zones = {"pan": zone_of(kit.head, kit.head.pan), "tilt": zone_of(kit.head, kit.head.tilt)}
    return {axis: zone for axis, zone in zones.items() if zone is not None}
