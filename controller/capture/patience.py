"""How long a run tolerates trouble: counts and times since something last went well."""

from dataclasses import dataclass

from protocol.units import NS

FIRST_PAUSE_NS = NS // 2
LONGEST_PAUSE_NS = 10 * NS
# How long a run waits for its line or for calm. Common practice, no source: time to find and fix a pulled cable.
PATIENCE_NS = 30 * 60 * NS
# A longer silence was probably caused by hand: a pulled cable or a switched-off board. Common practice, no source.
PULLED_NS = 10 * NS
# How long it waits if whole frames arrive but never the answer: waiting does not correct firmware or a wrong port.
PATIENCE_WITH_NONSENSE_NS = 60 * NS
MOST_REFUSALS = 6  # without an exposure in between
MOST_GREETINGS = 6  # without a report in between that the board is at rest
MOST_INTERRUPTIONS = 20  # without an exposure in between


@dataclass(slots=True)
class Patience:
    """What went wrong since it last went well. Times are monotonic nanoseconds; None if there is no such trouble."""

    interruptions: int = 0
    """Since the last exposure."""
    refusals: int = 0
    """Since the last exposure."""
    late_commands: int = 0
    """Commands that took too long since the last exposure that was reported without an interruption."""
    greetings: int = 0
    """Since the board was last at rest."""
    suspended_since_ns: int | None = None
    next_pause_ns: int = 0
    rested: bool = False
    """Whether the board was brought to rest since the run was last suspended."""
    supply_low_since_ns: int | None = None
    """When the board was first found at rest with a low supply voltage."""
    windy_since_ns: int | None = None

    def count_exposure(self) -> None:
        """Count an exposure: the run makes progress."""
        self.interruptions = self.refusals = 0

    def suspend(self, at_ns: int, *, refused: bool) -> int:
        """Suspend the run, for a refusal or another reason. Returns when to greet the board again."""
        self.interruptions += 1
        self.refusals += refused
        self.rested = False
        self.suspended_since_ns, self.next_pause_ns = at_ns, FIRST_PAUSE_NS
        return at_ns + self.next_pause_ns

    def wait_longer(self, at_ns: int) -> int:
        """Note that the board is still out of reach. Returns when to greet it again, later each time."""
        self.next_pause_ns = min(2 * self.next_pause_ns, LONGEST_PAUSE_NS)
        return at_ns + self.next_pause_ns

    def suspended_ns(self, at_ns: int) -> int:
        """How long the run has been suspended; 0 if it is not."""
        return 0 if self.suspended_since_ns is None else at_ns - self.suspended_since_ns

    def waits_on(self, at_ns: int, *, nonsense: bool) -> bool:
        """Whether a suspended run keeps waiting; `nonsense`: whole frames arrive but never the answer."""
        patience_ns = PATIENCE_WITH_NONSENSE_NS if nonsense else PATIENCE_NS
        return self.suspended_since_ns is not None and at_ns - self.suspended_since_ns < patience_ns

    def rest(self, at_ns: int, *, supply_low: bool) -> None:
        """Note that the board is at rest, with or without enough supply voltage."""
        if not supply_low:
            self.supply_low_since_ns = None
        elif self.supply_low_since_ns is None:
            self.supply_low_since_ns = at_ns
        self.suspended_since_ns, self.rested, self.greetings = None, True, 0

    def waits_for_supply(self, at_ns: int) -> bool:
        """Whether the supply is low and has not been for too long."""
        return self.supply_low_since_ns is not None and at_ns - self.supply_low_since_ns < PATIENCE_NS

    def is_windy_too_long(self, at_ns: int) -> bool:
        """Whether it has been too windy for too long."""
        return self.windy_since_ns is not None and at_ns - self.windy_since_ns > PATIENCE_NS
