"""What people read after a run: the account of the set, in numbers and pictures."""
