"""Pairing the photographs on the card with the exposures of a session."""
