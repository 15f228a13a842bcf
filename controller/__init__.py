"""The host program: kit, optics, planning, program, capture, session, reports and commands."""

__version__ = "0.2.0"
