"""What people read of a run: one table for each enum, whose members are its keys."""
