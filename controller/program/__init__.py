"""What the rig must do, step by step, with how long each step should take and when it is overdue."""
