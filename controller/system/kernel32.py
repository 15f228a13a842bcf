"""Two functions of Windows that Python does not offer. Only on Windows.

Source: Microsoft's documentation of GetConsoleMode and PeekNamedPipe, from memory.
"""

import sys

if sys.platform == "win32":
    import ctypes
    import msvcrt

    _kernel32 = ctypes.WinDLL("kernel32", use_last_error=True)

    def is_console(number: int) -> bool:
        """Whether a descriptor is a console; the null device, which `isatty` takes for one, is none."""
        mode = ctypes.c_ulong()
        return bool(_kernel32.GetConsoleMode(ctypes.c_void_p(msvcrt.get_osfhandle(number)), ctypes.byref(mode)))

    def bytes_waiting(number: int) -> int:
        """How many bytes can be read from a pipe without waiting. Raises OSError if its other end is closed."""
        count = ctypes.c_ulong()
        handle = ctypes.c_void_p(msvcrt.get_osfhandle(number))
        if not _kernel32.PeekNamedPipe(handle, None, 0, None, ctypes.byref(count), None):
            raise ctypes.WinError(ctypes.get_last_error())
        return count.value
