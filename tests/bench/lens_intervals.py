"""How often the truth is in the stated interval, for results from marks, photographs and vibrations."""

from tests.bench.figures import Figure, speed, work_s
from tests.controller.calibration.lens_rigs import HOLDING, STRAINED, share_held

RIGS = 400
QUANTITIES = {
    "ring": ("steps", "focal length"),
    "parallax": ("offset",),
    "settle": ("frequency", "damping", "amplitude", "wait"),
    "shaping": ("swing without", "swing with", "share left"),
}


def lens_intervals() -> list[Figure]:
    """The share of truths inside the stated 95 %, and of rigs refused, for each procedure in each world."""
    seconds, figures = work_s(_figures)
    return [*figures, speed("processor time of these rigs", seconds, 3000, "numpy")]


def _figures() -> list[Figure]:
    figures = []
    for cases, least, most_refused in ((HOLDING, 92.0, 3.0), (STRAINED, 90.0, None)):
        for name, case in cases.items():
            held, refused = share_held(case, RIGS)
            figures.append(Figure(f"{name}: refused", 100 * refused, "%", most_refused))
            if refused < 1:
                told = QUANTITIES[name.split(",")[0].split()[0]]
                figures += [
                    Figure(f"{name}: {of} held", 100 * share, "%", least=least)
                    for of, share in zip(told, held, strict=True)
                ]
    return figures
