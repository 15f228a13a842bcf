"""Calibration: the measured properties of this head and lens, how they were measured, and their uncertainties."""
