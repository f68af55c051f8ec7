"""What ends the program from outside: a request to end, or a terminal that is gone.

A recording that runs then is kept and judged first (``screens/record.py``). Where that can't be done in time its journal
stays: it holds the rig until it is judged.
"""

import asyncio
import os
import select
import signal
import sys
import threading
from collections.abc import Callable

_STDIN = 0
LONGEST_S = 30.0
"""Keeping a throw takes a second or two; after this the program ends without."""
TIDY_S = 2.0
STEP_S = 0.05


def on_request(end: Callable[[], None]) -> None:
    """Call ``end`` in the running event loop when this process is told to end (SIGTERM), as when a computer goes down."""
    if sys.platform != "win32":
        asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, end)


def with_the_terminal(busy: Callable[[], bool], end: Callable[[], None], *, piped: bool = False) -> None:
    """End when the terminal is gone, although nobody says so (``nohup``, no controlling terminal).

    At once, unless the program is ``busy`` with a recording: then ``end`` is called, and it may take its time to keep it.
    The library of the screen would ask the closed terminal again and again, and the recording would hold its port for ever.
    ``piped``: the keys come through a pipe from the server of a browser, and it may be gone just so.
    """
    if sys.platform == "win32" or not (piped or os.isatty(_STDIN)):
        return

    def hung_up() -> None:
        if busy():
            signal.signal(
                signal.SIGHUP, signal.SIG_IGN
            )  # it is said by the terminal, the shell and the watch below
            threading.Thread(target=_end_when_idle, args=(busy,), name="last patience", daemon=True).start()
            end()
        else:
            signal.signal(signal.SIGHUP, signal.SIG_DFL)
            os.kill(os.getpid(), signal.SIGHUP)

    asyncio.get_running_loop().add_signal_handler(signal.SIGHUP, hung_up)
    threading.Thread(target=_hang_up_when_gone, name="terminal watch", daemon=True).start()


def _end_when_idle(busy: Callable[[], bool]) -> None:
    """End once the throw is kept: what tidies up the screen may wait for the terminal for ever."""
    if sys.platform != "win32":
        pause = threading.Event()
        for _ in range(int(LONGEST_S / STEP_S)):
            if not busy():
                break
            pause.wait(STEP_S)
        pause.wait(TIDY_S)
        os._exit(128 + signal.SIGHUP)


def _hang_up_when_gone() -> None:
    if sys.platform != "win32":
        watch = select.poll()
        watch.register(_STDIN, 0)  # a hang-up is told without being asked for
        watch.poll()
        os.kill(os.getpid(), signal.SIGHUP)
