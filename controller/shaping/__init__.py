"""How the head rings, and which shaper lets it arrive still."""
