"""The durable record of a run, and what it says when read."""
