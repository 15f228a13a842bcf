"""The torque of a motor, and when it stalls.

A stepper's torque falls with its speed, here along a straight line from standstill to the speed at which none is left.
It stalls when inertia times acceleration and the imbalance need more. The line is a simplification; makers' pull-out
curves differ (common practice, no source).
"""

import math
from dataclasses import dataclass

from protocol.units import NS
from sim.motors import Motion


@dataclass(frozen=True, slots=True)
class Drive:
    """Torque at the axis, behind its gear: `holding_nm` at standstill, none at `no_load_deg_s`.

    The load: `inertia_kg_m2` about the axis, and `imbalance_nm` against the rotation.
    """

    holding_nm: float
    no_load_deg_s: float
    inertia_kg_m2: float
    imbalance_nm: float = 0.0

    def needed_nm(self, accel_deg_s2: float) -> float:
        """Torque needed for this acceleration: J a, and the imbalance."""
        return self.inertia_kg_m2 * math.radians(abs(accel_deg_s2)) + self.imbalance_nm

    def top_speed_deg_s(self, accel_deg_s2: float) -> float:
        """The speed up to which the torque is enough for this acceleration."""
        return self.no_load_deg_s * (1 - self.needed_nm(accel_deg_s2) / self.holding_nm)

    def stalls_ns(self, motion: Motion, steps_per_degree: float) -> int | None:
        """When the rotor stops following `motion`; None if it follows to the end."""
        for leg in motion.legs:
            most = max(abs(leg.accel), abs(leg.accel_at(leg.duration_s)))
            top = max(0.0, self.top_speed_deg_s(most / steps_per_degree)) * steps_per_degree
            if abs(leg.speed) > top:
                return motion.begin_ns + round(leg.start_s * NS)
            if abs(leg.speed_at(leg.duration_s)) > top:
                low, high = 0.0, leg.duration_s
                while high - low > 1e-10:
                    middle = (low + high) / 2
                    low, high = (low, middle) if abs(leg.speed_at(middle)) > top else (middle, high)
                return motion.begin_ns + round((leg.start_s + high) * NS)
        return None
