"""What a run tells people, as values: its sentences and its latest figures."""

from dataclasses import dataclass
from enum import StrEnum


class SentenceKind(StrEnum):
    """Why people were told a sentence."""

    SAID = "said"
    WARNING = "warning"
    """The run has met trouble that it deals with by itself."""
    ANNOUNCED = "announced"
    """The head is about to move."""
    CHECK = "check"
    """One check before anything moves."""
    ASKED = "asked"
    """A question, which is also a row of `questions`."""
    FAULT = "fault"
    """The run ends because of this."""


@dataclass(frozen=True, slots=True)
class SentenceRow:
    """One sentence that people were told: when by both clocks, and its number in the session.

    `at_ns` is monotonic, `at_utc` is ISO 8601. `lasts_ns` is how long an announcement lasts until the head may move.
    """

    at_ns: int
    at_utc: str
    kind: SentenceKind
    words: str
    lasts_ns: int | None = None
    number: int = 0


@dataclass(frozen=True, slots=True)
class PulseRow:
    """The latest figures of a run. `at_ns` is monotonic, `at_utc` is ISO 8601.

    `done` and `total` count exposures of the session. `left_ns` is the predicted rest. `pause` names the requested pause,
    None if none is. `supply_low` is 0 or 1, None before the board has said; so is `gusts`, None without a sensor.
    `used_s`, `moving_s` and `used_wh` are the time, the time in motion and the energy of all runs of the session; the
    energy is None if the kit does not state what the rig draws.
    """

    at_ns: int
    at_utc: str
    process: int
    done: int
    total: int
    left_ns: int
    pause: str | None
    sent: int
    repeated: int
    damaged: int
    supply_low: int | None
    gusts: int | None
    shaped: int
    used_s: float
    moving_s: float
    used_wh: float | None
    battery_s: float | None = None
    """The time since the run began, or since it went on after its latest planned pause; None if none is planned."""
    pause_in_s: float | None = None
    """The time until the next planned pause, 0 when it is due; None if none is planned."""
