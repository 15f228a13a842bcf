"""Guesses are slowed down, whoever makes them: after five wrong ones the next must wait, longer each time.

The wait is the same for all devices: keys are guessed from many addresses as easily as from one.
"""

from protocol.units import NS

FREE, FIRST_WAIT_NS, LONGEST_WAIT_NS = 5, NS, 60 * NS


class Slowing:
    """Counts wrong guesses. Moments are monotonic, in nanoseconds."""

    def __init__(self) -> None:
        self._wrong, self._until_ns = 0, 0

    def wait_left_ns(self, now_ns: int) -> int:
        """How long no guess is looked at; 0 if one is."""
        return max(0, self._until_ns - now_ns)

    def count_wrong(self, now_ns: int) -> None:
        """Count a wrong guess. From the fifth on the wait doubles, from 1 s to 60 s."""
        self._wrong += 1
        if self._wrong >= FREE:
            doublings = min(self._wrong - FREE, 16)
            self._until_ns = now_ns + min(LONGEST_WAIT_NS, FIRST_WAIT_NS << doublings)

    def forget(self) -> None:
        """Count from zero again, after the right key."""
        self._wrong, self._until_ns = 0, 0
