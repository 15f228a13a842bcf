"""The host: kit, optics, planning, program, state machine, session, reports and commands."""
