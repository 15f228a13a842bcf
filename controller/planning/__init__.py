"""Which frames, in what order, and the proof that they cover."""
