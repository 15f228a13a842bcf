"""Mutation testing: change the program in one place at a time and see whether a test fails.

Outside the timed suite: `python -m tests.mutants --count 50`.
"""
