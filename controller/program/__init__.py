"""What the rig must do, step by step, with the time that each step should take and its deadline."""
