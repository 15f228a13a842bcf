"""How long a plan takes with a head that rings otherwise: without shaped ramps, with them, and by earlier figures."""

from dataclasses import dataclass
from typing import Any

from controller.amounts import duration
from controller.kit.kit import Kit
from controller.planning.plan import Plan
from controller.program.build import build_program
from protocol.units import NS


@dataclass(frozen=True, slots=True)
class ShapingGain:
    """The time of a whole run in seconds: by the kit as it was, and by the kit as measured, without and with shaping."""

    before_s: float
    plain_s: float
    shaped_s: float

    @property
    def saved_s(self) -> float:
        """What shaping saves."""
        return self.plain_s - self.shaped_s

    def as_json(self) -> dict[str, Any]:
        """For other programs."""
        return {"before_s": self.before_s, "without_s": self.plain_s, "with_s": self.shaped_s, "saved_s": self.saved_s}

    def text(self, plan: str) -> str:
        """For people."""
        return (
            f"{plan}: by these figures {duration(self.shaped_s)} with shaping and {duration(self.plain_s)} without: "
            f"{duration(self.saved_s)} saved. By the figures before, the plan took {duration(self.before_s)}."
        )


def shaping_gain(plan: Plan, before: Kit, measured: Kit) -> ShapingGain:
    """The times of a plan with the kit as it was, and as measured. Raises InputError."""
    plain = measured.with_board(shapes_ramps=False)
    return ShapingGain(*(build_program(kit, plan.frames).expected_ns / NS for kit in (before, plain, measured)))
