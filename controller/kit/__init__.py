"""The kit: camera, lens, exposure, head and board, as one validated value."""
