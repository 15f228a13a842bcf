"""Lines to real boards."""
