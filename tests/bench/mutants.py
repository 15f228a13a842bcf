"""How many small changes to the program its tests detect."""

import tempfile
from pathlib import Path

from tests.bench.figures import Figure
from tests.mutants.judging import error, judge, score
from tests.mutants.sample import sample

COUNT, SEED = 150, 1
LEAST_PERCENT = 85


def mutants() -> list[Figure]:
    """A fixed sample of changes, each with the tests that reach it; `python -m tests.mutants` names the survivors."""
    with tempfile.TemporaryDirectory() as folder:
        outcomes = [outcome for _, outcome in judge(sample(COUNT, SEED), Path(folder))]
    return [
        Figure(f"{COUNT} changes to the program noticed by a test", 100 * score(outcomes), "%", least=LEAST_PERCENT),
        Figure("standard error of that, as they are a sample", 100 * error(outcomes), "%"),
    ]
