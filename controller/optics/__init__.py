"""How a lens maps directions to the picture, and what part of a frame counts as its core."""
