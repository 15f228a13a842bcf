"""Speed and memory, measured and printed beside their targets: `python -m tests.bench [--json]`.

These are not tests: no figure fails a run, since machines differ. Work is measured in processor seconds.
"""
