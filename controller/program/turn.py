"""The position in a bracket that the camera steps through by itself, one exposure at each release.

Such a camera cannot be told which exposure to make: it makes the one after the last. Any run of consecutive exposures as
long as the bracket contains all of it, wherever it begins. So a missing exposure can be made alone if it comes next, or
if nothing else was shot since the frame's others. Otherwise the whole bracket is repeated.
"""

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class BracketPosition:
    """`coming` is the bracket number of the exposure that the camera makes next, None if unknown.

    `frame` is where its latest exposures were made, or may have been.
    """

    members: int
    coming: int | None = 0
    frame: int | None = None

    @classmethod
    def resumed(cls, members: int, exposures: int | None, latest: int | None) -> "BracketPosition":
        """The position in the bracket when a run begins.

        `exposures` is the number of shutter openings in this session, None if unknown. `latest` is the frame of the
        latest one. Before the first, the operator has set the camera to the first exposure of the bracket.
        """
        turn = cls(members)
        return turn.lost(latest) if exposures is None else turn.after(exposures, latest)

    def after(self, count: int, frame: int | None) -> "BracketPosition":
        """The position after `count` more exposures at this frame."""
        coming = None if self.coming is None else (self.coming + count) % self.members
        return replace(self, coming=coming, frame=frame)

    def lost(self, frame: int | None) -> "BracketPosition":
        """An unknown position, after an exposure at this frame that may or may not have been made."""
        return replace(self, coming=None, frame=frame)

    def order(self, frame: int, wanted: set[int]) -> list[int]:
        """The exposures to make at a frame to get all `wanted`, in the order in which the camera makes them."""
        if self.coming is None and frame == self.frame:
            return sorted(wanted)
        first = self.coming or 0
        whole = [(first + number) % self.members for number in range(self.members)]
        alone = whole[: len(wanted)]
        return alone if self.coming is not None and set(alone) == wanted else whole
