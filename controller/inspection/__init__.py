"""The photographs of a whole set examined together: what the pictures say of poses, lens and head."""
