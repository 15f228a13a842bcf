"""The uncertainty of a result of uncertain values: the law of propagation (JCGM 100:2008, GUM, 5.1.2)."""

import math
from collections.abc import Callable, Mapping

RELATIVE_STEP = 1e-3  # of a standard uncertainty: small against curvature, large against rounding


def propagated(
    function: Callable[..., float], values: Mapping[str, float], uncertainties: Mapping[str, float]
) -> tuple[float, dict[str, float]]:
    """The standard uncertainty of `function(**values)` and the contribution of each value, in the result's unit.

    `uncertainties` are standard uncertainties of some of the values, independent of each other. Slopes are central
    differences, as GUM 5.1.3 note 2 allows. Raises what `function` raises.
    """
    parts = {}
    for name, u in uncertainties.items():
        if u > 0:
            step = u * RELATIVE_STEP
            ahead, behind = (function(**{**values, name: values[name] + sign * step}) for sign in (1, -1))
            parts[name] = abs(ahead - behind) / (2 * RELATIVE_STEP)
    return math.hypot(*parts.values()), parts
