"""What the camera would have seen: a sphere of scenery, and pictures of it."""
