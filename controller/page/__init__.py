"""The page: the whole run from a phone."""
