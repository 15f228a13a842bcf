"""What people read after a run: the set accounted for, in numbers and pictures."""
