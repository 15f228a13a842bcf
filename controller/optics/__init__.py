"""How a lens maps directions to the picture, and which part of a frame is its core."""
