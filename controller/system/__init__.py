"""What differs between operating systems: one module for each thing, one implementation for each kind of system.

`chosen` picks those of this system. Nothing else in the host asks which system it runs on. The implementation for Windows
is given the functions of Windows, so that tests can run it elsewhere.
"""
