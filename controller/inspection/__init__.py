"""The photographs of a whole set examined together: matching points, and what they say of poses, lens and head."""
