"""Watch the computer's time of day during a run, which may be set by hours meanwhile: a board without a battery clock.

Exposures are timed by the monotonic clock, which never jumps. So this only notes what the time of day was, and how far
it could be believed; `session.clock` makes the best of it.
"""

from collections.abc import Callable
from datetime import datetime

from controller import clock
from controller.amounts import moment
from controller.session.rows import Moment
from controller.session.session import Session
from controller.system.clock_trust import ClockSigns, ClockTrust, boot_name, trust_in
from protocol.units import NS

LOOK_NS = 10 * NS  # time between two looks
JUMP_S = 5.0  # a smaller change is left to the time server, which corrects it slowly


class ClockWatch:
    """Notes the time of day in the session when a run begins, when it jumps, and when it becomes more believable."""

    def __init__(self, session: Session, now: Callable[[], int], say: Callable[[str], None]) -> None:
        self._session, self._now, self._say = session, now, say
        sure = [row.utc for row in session.clocks() if row.trust.is_sure]
        self._latest = max(map(datetime.fromisoformat, sure), default=None)
        self._wall, self._at_ns = clock.wall_moment(), clock.monotonic_ns()
        # The times of a simulated line compare with nothing outside its run.
        self._is_ours = abs(now() - self._at_ns) < NS
        self._due_ns = self._at_ns + LOOK_NS
        self._trust = self._note()

    def _note(self) -> ClockTrust:
        utc = clock.wall_time()
        trust = trust_in(ClockSigns.here(), datetime.fromisoformat(utc), self._latest)
        self._session.note_clock(Moment(self._now(), utc), trust, boot_name() if self._is_ours else "")
        return trust

    def tick(self) -> None:
        """Look, if the last look is old enough; tell people of a jump. Raises StorageFailed."""
        at_ns = clock.monotonic_ns()
        if at_ns < self._due_ns or not self._is_ours:
            return
        self._due_ns = at_ns + LOOK_NS
        wall = clock.wall_moment()
        by_s = (wall - self._wall).total_seconds() - (at_ns - self._at_ns) / NS
        self._wall, self._at_ns = wall, at_ns
        jumped = abs(by_s) > JUMP_S
        trust = trust_in(ClockSigns.here(), wall, self._latest)
        if jumped or trust.rank > self._trust.rank:
            self._trust = self._note()
        if jumped:
            way = "forward" if by_s > 0 else "back"
            self._say(
                f"This computer's clock was set {way} by {moment(abs(by_s))}. The run goes on: another clock times "
                "its motions."
            )
