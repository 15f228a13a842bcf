"""What the pictures of a whole set say about it: points that neighbours share, and what follows from them."""
