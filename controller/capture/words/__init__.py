"""The words for a run: one table for each enum, whose members are its keys."""
