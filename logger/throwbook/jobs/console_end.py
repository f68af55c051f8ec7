"""The end of a console under Windows, where no signal says it: its window is closed, the person logs off, Windows goes down.

The system ends the program once that was heard, after five seconds at the latest (its documentation: "HandlerRoutine
callback function"). That is time enough to keep a throw; if not, its journal stays.
"""

import sys
from collections.abc import Callable

BREAK, CLOSE, LOGOFF, SHUTDOWN = 1, 2, 5, 6
_HEARING: list[object] = []
"""What the system may call must not be tidied away."""


def hear_console_end(end: Callable[[], bool], keep: Callable[[], object]) -> Callable[[], None]:
    """From now on ``end`` is called, in a thread of its own, when the console ends; what is given back stops that.

    ``end`` gives whether there is something to ``keep``; if so, the program is ended only after that has returned.
    Nothing to do on other systems: a signal says it there.
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
