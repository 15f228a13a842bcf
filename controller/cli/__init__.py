"""The command line: options, what depends on what, refusals, and how results are printed. All that is click."""
