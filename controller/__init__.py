"""The host: kit, optics, planning, program, state machine, session, reports and commands."""

__version__ = "0.1.0"
