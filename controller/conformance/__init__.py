"""One battery of rules for any board that speaks the protocol."""
