"""Calibration: what was measured of this head and lens, how, and how sure it is."""
