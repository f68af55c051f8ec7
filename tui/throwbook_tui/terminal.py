"""What the terminal can; its end; Esc; ASCII.

What ends the program from outside: a request to end, or a terminal that is gone.

A recording that runs then is kept and judged first (``screens/record.py``). Where that can't be done in time its journal
stays: it holds the rig until it is judged.

A lone Esc answered after ESCDELAY, not at the next tenth of a second.

The terminal library looks whether a lone Esc has been waited for long enough only when its wait for keys ends, every
tenth of a second. Here the wait that follows a key is as short as it need be; the waits after it are as they were.

Drawing with ASCII alone, for terminals that have nothing else.
"""

import asyncio
import os
import select
import selectors
import signal
import sys
import threading
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any, ClassVar

from textual.constants import ESCAPE_DELAY
from textual.scrollbar import ScrollBar, ScrollBarRender

from throwbook.jobs.windows import hear_console_end

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
    if sys.platform == "win32":
        loop, pause = asyncio.get_running_loop(), threading.Event()

        def closed() -> bool:
            if busy():
                loop.call_soon_threadsafe(end)
                return True
            return False

        def keep() -> None:
            while busy():
                pause.wait(STEP_S)

        hear_console_end(closed, keep)
        return
    if not (piped or os.isatty(_STDIN)):
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


JUST_AFTER_S = ESCAPE_DELAY + 0.002


class ShortAfterAKey(selectors.SelectSelector):
    """Waits a shorter time once something has come: it may have been a lone Esc."""

    _something_came = False

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        """What is ready to be read."""
        ready = super().select(JUST_AFTER_S if self._something_came else timeout)
        self._something_came = bool(ready)
        return ready


def answer_escape_sooner() -> None:
    """From the next app on; nothing to do where the library doesn't read keys this way."""
    if sys.platform != "win32":
        from textual.drivers import linux_driver

        short = SimpleNamespace(SelectSelector=ShortAfterAKey, EVENT_READ=selectors.EVENT_READ)
        setattr(linux_driver, "selectors", short)  # noqa: B010 - it isn't among what the module says it has


class PlainBar(ScrollBarRender):
    """A scroll bar of whole letters."""

    VERTICAL_BARS: ClassVar[list[str]] = [" "] * 8
    HORIZONTAL_BARS: ClassVar[list[str]] = [" "] * 8


def draw_plainly(app: Any) -> None:
    """No line-drawing letters from here on."""
    ScrollBar.renderer = PlainBar
    app.add_class("plain")
