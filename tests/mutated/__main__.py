"""Run many cases and print the results: `python -m tests.mutated --count 5000`."""

import argparse
import contextlib
import io
import os
import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.mutated.cases import CASES
from tests.mutated.corpus import make_corpus
from tests.mutated.judging import Verdict


def main() -> int:
    """The exit status: 1 if any case had a fault."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutated")
    parser.add_argument("--count", type=int, default=1000, help="cases of each sort")
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--only", choices=tuple(CASES), help="one sort of case")
    parser.add_argument("--refusals", type=int, default=0, help="show this many refusals, to be read aloud")
    asked = parser.parse_args()
    faults: dict[str, list[tuple[str, int, Verdict]]] = {}
    statuses: Counter[int] = Counter()
    refusals: dict[str, str] = {}
    with tempfile.TemporaryDirectory() as scratch:
        corpus = Path(scratch) / "corpus"
        corpus.mkdir()
        os.chdir(corpus)
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            make_corpus(corpus)
        for sort, case in CASES.items():
            for seed in range(asked.first, asked.first + asked.count) if asked.only in {None, sort} else ():
                verdict = case(corpus, seed)
                statuses[verdict.status] += 1
                if verdict.fault:
                    where = verdict.told.strip().splitlines()[-3:-1] if verdict.told else []
                    key = verdict.fault[:60] + (f" {where[0].strip()}" if where else "")
                    if key not in faults:
                        print(f"{sort} seed {seed}: {' '.join(verdict.words)[:120]}\n      {key}", flush=True)
                    faults.setdefault(key, []).append((sort, seed, verdict))
                elif verdict.status == 2 and len(refusals) < asked.refusals:
                    line = verdict.said.splitlines()[-1]
                    refusals.setdefault(line[:40], f"{' '.join(verdict.words)[:60]}: {line}")
        os.chdir("/")
    print(f"exit statuses: {dict(statuses)}")
    for line in refusals.values():
        print("  ", line)
    for key, cases in sorted(faults.items(), key=lambda item: -len(item[1])):
        sort, seed, verdict = cases[0]
        print(f"{len(cases):5} {sort} seed {seed}: {' '.join(verdict.words)[:120]}\n      {key}")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
