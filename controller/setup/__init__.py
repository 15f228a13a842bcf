"""Setting up head and camera step by step, and keeping which steps are done."""
