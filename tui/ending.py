"""What ends the program from outside: a request to end, or a terminal that is gone.

A recording that runs then ends there. Its journal stays, and is offered at the next start.
"""

import asyncio
import os
import select
import signal
import sys
import threading
from collections.abc import Callable

_STDIN = 0


def on_request(end: Callable[[], None]) -> None:
    """Call ``end`` in the running event loop when this process is told to end (SIGTERM), as when a computer goes down."""
    if sys.platform != "win32":
        asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, end)


def with_the_terminal(*, piped: bool = False) -> None:
    """End at once when the terminal is gone, although nobody says so (``nohup``, no controlling terminal).

    The library of the screen would ask the closed terminal again and again, and the recording would hold its port for ever.
    ``piped``: the keys come through a pipe from the server of a browser, and it may be gone just so.
    """
    if sys.platform != "win32" and (piped or os.isatty(_STDIN)):
        signal.signal(signal.SIGHUP, signal.SIG_DFL)
        threading.Thread(target=_hang_up_when_gone, name="terminal watch", daemon=True).start()


def _hang_up_when_gone() -> None:
    if sys.platform != "win32":
        watch = select.poll()
        watch.register(_STDIN, 0)  # a hang-up is told without being asked for
        watch.poll()
        os.kill(os.getpid(), signal.SIGHUP)
