"""The commanded and true positions of the head during a run: dense while it moves, sparse while it rests."""

from sim.head import SimulatedHead

STEP_NS = 50_000_000
RESTING_PX = 0.25  # a picture that moves by less looks at rest in any curve

Sample = tuple[float, float, float, float, float, float, float]
"""Seconds, pan and tilt as commanded, true yaw and pitch in degrees, commanded speed of pan and tilt in degrees/s."""


class Trace:
    """Samples in order of time. Each change of an acceleration is among them, so between two the speed is a line."""

    def __init__(self) -> None:
        self.samples: list[Sample] = []
        self._until_ns = 0

    def follow(self, head: SimulatedHead, now_ns: int) -> None:
        """Sample what has happened since the last call. Call it before anything changes at `now_ns`."""
        if now_ns <= self._until_ns:
            return
        if head.motion_bound_px(self._until_ns) >= RESTING_PX:
            changes = {at for axis in (head.pan, head.tilt) for at, _ in axis.motion.accelerations()}
            within = {moment for moment in changes if self._until_ns < moment < now_ns}
            for moment in sorted(within.union(range(self._until_ns + STEP_NS, now_ns, STEP_NS))):
                self._sample(head, moment)
                if head.motion_bound_px(moment) < RESTING_PX:
                    break
        self._sample(head, now_ns)
        self._until_ns = now_ns

    def _sample(self, head: SimulatedHead, moment_ns: int) -> None:
        axes = (head.pan, head.tilt)
        told = (axis.motion.steps_at(moment_ns) / axis.steps_per_degree for axis in axes)
        speeds = (axis.motion.speed_at(moment_ns) / axis.steps_per_degree for axis in axes)
        row = (*told, *head.pose_deg(moment_ns), *speeds)
        pan, tilt, yaw, pitch, pan_speed, tilt_speed = (round(value, 4) + 0.0 for value in row)
        self.samples.append((round(moment_ns / 1e9, 4), pan, tilt, yaw, pitch, pan_speed, tilt_speed))
