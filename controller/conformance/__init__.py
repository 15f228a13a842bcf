"""Rules that test any board that speaks the protocol."""
