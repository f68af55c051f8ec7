"""What only Windows' own library tells: the end of a console, its code page, a network drive. Elsewhere: nothing to tell.

No signal says there that a window is closed, that the person logs off or that Windows goes down. The system ends the
program once that was heard, after five seconds at the latest (its documentation: "HandlerRoutine callback function"). That
is time enough to keep a throw; if not, its journal stays.
"""

import sys
from collections.abc import Callable
from pathlib import Path

BREAK, CLOSE, LOGOFF, SHUTDOWN = 1, 2, 5, 6
DRIVE_REMOTE = 4
"""Its answer for a network drive (its documentation: "GetDriveTypeW function")."""
_HEARING: list[object] = []
"""What the system may call must not be tidied away."""


def hear_console_end(end: Callable[[], bool], keep: Callable[[], object]) -> Callable[[], None]:
    """From now on ``end`` is called, in a thread of its own, when the console ends; what is given back stops that.

    ``end`` gives whether there is something to ``keep``; if so, the program is ended only after that has returned.
    """
    if sys.platform != "win32":
        return lambda: None
    else:  # noqa: RET505 - so that the type checker leaves it out on other systems
        import ctypes

        def heard(event: int) -> bool:
            if event not in (BREAK, CLOSE, LOGOFF, SHUTDOWN) or not end():
                return False
            if event != BREAK:  # Ctrl-Break ends nothing by itself
                keep()
            return True

        handler = ctypes.WINFUNCTYPE(ctypes.c_int, ctypes.c_ulong)(heard)  # BOOL has four bytes
        system = ctypes.WinDLL("kernel32")
        system.SetConsoleCtrlHandler(handler, True)
        _HEARING.append(handler)
        return lambda: system.SetConsoleCtrlHandler(handler, False)


def has_keyboard() -> bool:
    """Whether standard input is a console; Windows calls ``NUL`` a terminal too. Elsewhere: true, nothing else does."""
    if sys.platform != "win32":
        return True
    else:  # noqa: RET505
        import ctypes
        import msvcrt

        ours, mode = msvcrt.get_osfhandle(sys.stdin.fileno()), ctypes.c_ulong()
        return bool(ctypes.WinDLL("kernel32").GetConsoleMode(ctypes.c_void_p(ours), ctypes.byref(mode)))


def console_code_page() -> int:
    """That by which cmd and PowerShell read a pipe (``chcp``); 0: no console, or another system."""
    if sys.platform != "win32":
        return 0
    else:  # noqa: RET505
        import ctypes

        return int(ctypes.WinDLL("kernel32").GetConsoleOutputCP())


def on_a_network(path: Path) -> bool:
    """Whether a file lies on a network drive."""
    if sys.platform != "win32":
        return False
    else:  # noqa: RET505
        import ctypes

        drive = f"{path.absolute().drive}\\"
        return drive.startswith("\\\\") or ctypes.WinDLL("kernel32").GetDriveTypeW(drive) == DRIVE_REMOTE
