"""Speed and memory, measured and printed beside their targets: `python -m tests.bench [--json]`.

Not tests: nothing here fails a run, since machines differ. Work is counted in processor seconds.
"""
