"""Choosing frames, ordering them and proving that they cover the region."""
