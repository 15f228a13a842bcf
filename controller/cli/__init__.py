"""The command line: options and their dependencies, refusals, and printed results. All code that uses click."""
