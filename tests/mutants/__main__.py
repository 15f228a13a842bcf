"""Change the program, run the tests that reach the change, and print the result."""

import argparse
import sys
import tempfile
from pathlib import Path

from tests.mutants.judging import Outcome, error, judge, score
from tests.mutants.sample import sample


def main() -> int:
    """The exit status: 1 if a change survived."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__)
    parser.add_argument("--count", type=int, default=50, help="how many changes to make (default 50)")
    parser.add_argument("--seed", type=int, default=1, help="another seed draws another sample (default 1)")
    parser.add_argument("--only", default="", help="only files whose path begins with this, as controller/capture")
    parser.add_argument("--cover", type=Path, help="keep in this file which test reaches what, and use it if it is there")
    asked = parser.parse_args()
    outcomes = []
    with tempfile.TemporaryDirectory() as folder:
        for change, outcome in judge(sample(asked.count, asked.seed, asked.only), Path(folder), asked.cover):
            outcomes.append(outcome)
            print(f"{outcome:<9} {change}", flush=True)
    print(f"{len(outcomes)} changes, {100 * score(outcomes):.0f} % noticed, ± {100 * error(outcomes):.0f} % by chance")
    return 1 if Outcome.SURVIVED in outcomes else 0


if __name__ == "__main__":
    sys.exit(main())
