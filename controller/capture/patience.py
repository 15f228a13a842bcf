"""How long a run puts up with trouble: counts and times since something last went well."""

from dataclasses import dataclass

from protocol.units import NS

FIRST_PAUSE_NS = NS // 2
LONGEST_PAUSE_NS = 10 * NS
# How long a run waits for its line or for calm. Common practice, no source: time to find and mend a pulled cable.
PATIENCE_NS = 30 * 60 * NS
# A line that is silent for longer was probably pulled or switched off by hand. Common practice, no source.
PULLED_NS = 10 * NS
# How long it waits if whole frames come but never the answer: waiting mends no firmware and no wrong port.
PATIENCE_WITH_NONSENSE_NS = 60 * NS
MOST_REFUSALS = 6  # without an exposure in between
MOST_GREETINGS = 6  # without hearing in between that the board is at rest
MOST_INTERRUPTIONS = 20  # without an exposure in between


@dataclass(slots=True)
class Patience:
    """What went wrong since it last went well. Times are monotonic nanoseconds; None while there is no such trouble."""

    interruptions: int = 0
    """Since the last exposure."""
    refusals: int = 0
    """Since the last exposure."""
    late_commands: int = 0
    """Commands that took too long since the last exposure that was heard of at once."""
    greetings: int = 0
    """Since the board was last at rest."""
    suspended_since_ns: int | None = None
    next_pause_ns: int = 0
    rested: bool = False
    """The board was brought to rest since the run was last suspended."""
    supply_low_since_ns: int | None = None
    """When the board was first found at rest with a low supply."""
    windy_since_ns: int | None = None

    def count_exposure(self) -> None:
        """An exposure is made: the run gets somewhere."""
        self.interruptions = self.refusals = 0

    def suspend(self, at_ns: int, *, refused: bool) -> int:
        """The run is suspended, by a refusal or something else; return when to greet the board again."""
        self.interruptions += 1
        self.refusals += refused
        self.rested = False
        self.suspended_since_ns, self.next_pause_ns = at_ns, FIRST_PAUSE_NS
        return at_ns + self.next_pause_ns

    def wait_longer(self, at_ns: int) -> int:
        """The board is still out of reach; return when to greet it again, each time later."""
        self.next_pause_ns = min(2 * self.next_pause_ns, LONGEST_PAUSE_NS)
        return at_ns + self.next_pause_ns

    def suspended_ns(self, at_ns: int) -> int:
        """How long the run has been suspended; 0 if it is not."""
        return 0 if self.suspended_since_ns is None else at_ns - self.suspended_since_ns

    def waits_on(self, at_ns: int, *, nonsense: bool) -> bool:
        """Whether a suspended run waits on; `nonsense`: whole frames come but never the answer."""
        patience_ns = PATIENCE_WITH_NONSENSE_NS if nonsense else PATIENCE_NS
        return self.suspended_since_ns is not None and at_ns - self.suspended_since_ns < patience_ns

    def rest(self, at_ns: int, *, supply_low: bool) -> None:
        """The board is at rest, with or without enough supply."""
        if not supply_low:
            self.supply_low_since_ns = None
        elif self.supply_low_since_ns is None:
            self.supply_low_since_ns = at_ns
        self.suspended_since_ns, self.rested, self.greetings = None, True, 0

    def waits_for_supply(self, at_ns: int) -> bool:
        """The supply is low, and has not been for too long."""
        return self.supply_low_since_ns is not None and at_ns - self.supply_low_since_ns < PATIENCE_NS

    def wind_lasts(self, at_ns: int) -> bool:
        """It has blown too hard for too long."""
        return self.windy_since_ns is not None and at_ns - self.windy_since_ns > PATIENCE_NS
