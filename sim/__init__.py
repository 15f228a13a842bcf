"""The stand-in for hardware: time, motors, camera, wire, board, and what really happened."""
