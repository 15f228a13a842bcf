"""Inspecting whole sets: spoilt frames found with their true fault, false alarms, and errors of the poses."""

import tempfile
from pathlib import Path

import numpy as np

from controller.inspection.inspected import LinkVerdict
from sim.scene.spoilt import Spoilt
from tests.bench.figures import Figure
from tests.sets.inspecting import FAULTS, Inspector, due, held, pose_error_px, said, spoil
from tests.sets.making import SetMaker
from tests.sets.spec import KINDS
from tests.sets.truth import MadeSet

TIMES = {"24 mm sphere": 3, "50 mm window": 2, "8 mm fisheye": 2, "sky, water and wall": 3}  # others once
SPOILT = 10  # sets of each sound one; every third has two frames spoilt


def inspecting() -> list[Figure]:
    """Twenty sound sets of all kinds, and 200 in which one or two frames are spoilt."""
    found, spoilt, alarms, sound, contradicting, links, figures = 0, 0, 0, 0, 0, 0, list[Figure]()
    with tempfile.TemporaryDirectory() as folder:
        maker = SetMaker(Path(folder))
        for name, kind in KINDS.items():
            for seed in range(TIMES.get(name, 1)):
                inspector, made = Inspector(), maker.make(kind, seed)
                inspected = inspector.inspect(made)
                alarms, sound = (
                    alarms + len({frame for frame, _ in said(inspected) ^ due(made)}),
                    sound + len(inspected.frames),
                )
                links += len(inspected.links)
                contradicting += sum(link.verdict is LinkVerdict.CONTRADICTS for link in inspected.links)
                if seed == 0:
                    error = pose_error_px(made, inspected)
                    figures.append(Figure(f"poses, {name}: rms error", error, "px", most=0.3))
                for number in range(SPOILT):
                    bad = maker.make(kind, seed, _spoiling(made, held(inspected), number))
                    spoilt += 1
                    found += due(bad) == said(inspector.inspect(bad))
    return [
        Figure(
            f"of {spoilt} spoilt sets, found with the true faults and no other", 100 * found / spoilt, "%", least=98.0
        ),
        Figure(f"false alarms in {sound} sound frames", 1000 * alarms / sound, "in 1000", most=2.0),
        Figure(f"contradictions among {links} sound links", contradicting, "", most=0),
        *figures,
    ]


def _spoiling(made: MadeSet, among: list[int], number: int) -> dict[int, Spoilt]:
    random = np.random.default_rng((made.seed, number))
    spoiling = dict(spoil(random, made, FAULTS[number % len(FAULTS)], among))
    if number % 3 == 2:
        left = [frame for frame in among if frame not in spoiling]
        spoiling |= spoil(random, made, FAULTS[(number // 3) % len(FAULTS)], left)
    return spoiling
