"""The density of a tick of a camera's clock, by another way than the program's."""

import math


def near(apart_s: float, spread_s: float, tick_s: float) -> float:
    """The density of a tick that begins this long after its exposure: normal, by erf (NIST DLMF 7.2.1)."""

    def below(x: float) -> float:
        return 0.5 * math.erfc(-x / math.sqrt(2))

    return (below((apart_s + tick_s) / spread_s) - below(apart_s / spread_s)) / tick_s
