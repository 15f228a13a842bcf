"""The photographs on the card, paired with the exposures of a session."""
