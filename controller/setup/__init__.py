"""Setting up head and camera, step by step, and what is done of it."""
