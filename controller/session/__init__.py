"""The durable record of a run, and reading it."""
