"""Whole sets of photographs with their truth: a real run of the simulated rig, and small pictures of what it saw."""
