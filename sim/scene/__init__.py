"""What the camera would see: a sphere of scenery, and pictures of it."""
