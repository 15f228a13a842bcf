"""Whether it is known where the head points, and what rests on that.

A board notes where the switches at zero change during a move. A switch that was passed in its place vouches for all that
was exposed before that move. What was exposed since then can never be checked once the position is lost: it is suspect.
"""

from controller.capture.belief import SWITCHES
from controller.kit.kit import Kit
from controller.program.index import Found, Zone, zone_of
from controller.program.program import Crossing, Exposure, MoveStep
from controller.session.rows import AXES, Remembered
from protocol.messages import ZERO_SWITCHES, Capability, Index

Edges = dict[str, int]


class Position:
    """What is known of where the head points. `by_hand` are the frames for which it does not turn."""

    def __init__(self, kit: Kit, remembered: Remembered, by_hand: set[int]) -> None:
        self._zones = _zones(kit)
        self._by_hand = by_hand
        self.switches = Capability(0)  # what the board says it has
        self.known = self.was_set = remembered.boot_id is not None  # unless the board says otherwise
        self.standing: tuple[int, int] | None = None  # pan and tilt in steps
        self.last_move: MoveStep | None = None  # the move that ended last, since zero was found
        self.home_left = 0  # moves that bring an axis without a switch back to zero before zero is found again
        # The exposures since zero was last seen in its place, for each axis that can be checked.
        self.unchecked: dict[str, list[Exposure]] = {
            axis: [made for made in remembered.unchecked.get(axis, ()) if made[0] not in by_hand] for axis in self._zones
        }
        # What was exposed under zeros that no switch can check.
        blind = [axis for axis in AXES if axis not in self._zones]
        self.uncheckable = [made for axis in blind for made in remembered.unchecked.get(axis, ())]
        self.edges: Edges | None = None  # changes of each switch noted when the board was last asked
        self.newly: set[str] = set()  # axes whose switch has changed since they last stood clear of it
        self.off: list[str] = []  # axes whose switch was not where it should be
        self.times_off = 0

    # Questions.

    @property
    def zones(self) -> dict[str, Zone]:
        """The axes whose zero can be checked, by the kit and by the board, and how."""
        return {axis: zone for axis, zone in self._zones.items() if SWITCHES[axis] & self.switches}

    @property
    def blind(self) -> list[str]:
        """The axes on which the board has no switch."""
        return [axis for axis, switch in SWITCHES.items() if not switch & self.switches]

    @property
    def must_be_found(self) -> bool:
        """A reference run comes before anything else."""
        return not self.known and not self.home_left

    @property
    def look_is_owed(self) -> bool:
        """Something was exposed since zero was last seen in its place, on an axis that can be checked."""
        return any(self.unchecked[axis] for axis in self.zones)

    @property
    def look_is_due(self) -> bool:
        """The board must be asked about the switches: for the first time, or after a move that may have passed one."""
        if not self.zones:
            return False
        return self.edges is None or (self.last_move is not None and self.last_move.looks)

    @property
    def made_since_checked(self) -> set[Exposure]:
        """All exposures since zero was last seen in its place on any axis."""
        return {made for axis in self.unchecked.values() for made in axis}

    def is_lost(self, *, zero_is_here: bool) -> bool:
        """The position is unknown, and some axis has no switch to find it again.

        `zero_is_here`: the head stands at its mark when a run begins, so zero may be set there for the first time.
        """
        lost = self.must_be_found and self.switches & ZERO_SWITCHES != ZERO_SWITCHES
        return lost and (self.was_set or not zero_is_here)

    # What happens to it.

    def find(self) -> None:
        """Zero is found."""
        self.known = self.was_set = True
        self.standing = (0, 0)
        self.forget_edges()

    def forget_edges(self) -> None:
        """What the switches did since the board was last asked is unknown: ask again before anything moves."""
        self.last_move = self.edges = None
        self.newly = set()

    def arrive(self, move: MoveStep) -> bool:
        """A move has ended; return whether it was one of those that lead home."""
        self.last_move = move
        self.standing = (move.pan_steps, move.tilt_steps)
        if not self.home_left:
            return False
        self.home_left -= 1
        self.was_set = self.home_left > 0  # at home it may be set again, by where the head stands
        return True

    def count(self, exposure: Exposure) -> None:
        """An exposure is made: from now on it waits for a check."""
        if exposure[0] not in self._by_hand:
            for made in self.unchecked.values():
                made.append(exposure)
            if len(self.unchecked) < len(AXES):
                self.uncheckable.append(exposure)

    def lose(self) -> set[Exposure]:
        """The position is unknown from now on; return what can never be checked any more."""
        self.known, self.standing, self.home_left = False, None, 0
        suspect = {made for axis in self.zones for made in self.unchecked[axis]}
        for made in self.unchecked.values():
            made.clear()
        return suspect

    def compare(self, index: Index) -> list[str]:
        """Hold what the board saw of the switches against what it should have seen.

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
        """Whether an axis was seen in its place; `found` is None if its switch has not changed."""
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
    """How the zero of each axis is checked, as far as the kit tells; without the axes where it cannot be."""
    zones = {"pan": zone_of(kit.head, kit.head.pan), "tilt": zone_of(kit.head, kit.head.tilt)}
    return {axis: zone for axis, zone in zones.items() if zone is not None}
