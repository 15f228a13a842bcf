"""Running a program on a board: events in, effects out, one loop."""
