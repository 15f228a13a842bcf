"""A simulated rig in place of the hardware: time, motors, camera, wire, board, and a record of what really happened."""
