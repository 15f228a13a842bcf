"""Whose turn it is in a bracket that the camera makes by itself, one exposure at each release.

Nobody can tell such a camera which exposure to make: it makes the one that follows the one before. As many exposures in a
row as the bracket has members hold them all, wherever it began. So what is missing of a frame can be made alone when it
comes next, or when nothing else was shot since its others; if not, the whole bracket is made again.
"""

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class BracketPosition:
    """`coming` is the number in the bracket of the exposure that the camera makes next; None where that is not known.

    `frame` is where its latest exposures were made, or may have been.
    """

    members: int
    coming: int | None = 0
    frame: int | None = None

    @classmethod
    def resumed(cls, members: int, exposures: int | None, latest: int | None) -> "BracketPosition":
        """Whose turn it is when a run begins.

        `exposures` is how often the camera opened its shutter in this session, None if that is not known; `latest` is
        the frame of the latest one. Before the first, the operator has set the camera to the first of the bracket.
        """
        turn = cls(members)
        return turn.lost(latest) if exposures is None else turn.after(exposures, latest)

    def after(self, count: int, frame: int | None) -> "BracketPosition":
        """After so many exposures more, at this frame."""
        coming = None if self.coming is None else (self.coming + count) % self.members
        return replace(self, coming=coming, frame=frame)

    def lost(self, frame: int | None) -> "BracketPosition":
        """Not known any more, after an exposure at this frame that was made or not."""
        return replace(self, coming=None, frame=frame)

    def order(self, frame: int, wanted: set[int]) -> list[int]:
        """What to make of a frame so that all `wanted` are made, in the order in which the camera makes it."""
        if self.coming is None and frame == self.frame:
            return sorted(wanted)
        first = self.coming or 0
        whole = [(first + number) % self.members for number in range(self.members)]
        alone = whole[: len(wanted)]
        return alone if self.coming is not None and set(alone) == wanted else whole
