"""Told to end while a recording runs, or its terminal or window is gone: what was recorded is kept and judged first.

A second request changes nothing: keeping takes a moment, and the journal is there whatever happens.
"""

import _thread
import os
import signal
import threading
from collections.abc import Callable
from typing import Any, TypeVar

from throwbook.jobs.record import ASKED_TO_END, HUNG_UP
from throwbook.jobs.windows import hear_console_end

REQUESTS = {
    number: why
    for name, why in (("SIGTERM", ASKED_TO_END), ("SIGHUP", HUNG_UP))
    if (number := getattr(signal, name, None)) is not None
}
"""Signal: what it says. Not every system has both."""
SHOWN_ON = (1, 2)
"""Where lines for a person go."""


Answer = TypeVar("Answer")


class _AskedToEnd(Exception):
    """A request to end came while a question stood open."""


class Ending:
    """Used as ``with``: while it lasts, a request to end calls ``finish`` with the reason, once."""

    def __init__(self, finish: Callable[[str], None]) -> None:
        self.why = ""
        """Why the program ends; empty: nobody asked."""
        self._finish = finish
        self._asking = False
        self._before: dict[int, Any] = {}
        self._terminals = [number for number in SHOWN_ON if _is_terminal(number)]

    def __enter__(self) -> "Ending":
        for number in REQUESTS:
            if signal.getsignal(number) is not signal.SIG_IGN:  # nohup: it is to outlive its terminal
                self._before[number] = signal.signal(number, self._asked)
        self._stop_hearing = hear_console_end(self._console_ends, threading.Event().wait)
        return self

    def __exit__(self, *exc: object) -> None:
        self._stop_hearing()
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def tell(self, show: Callable[..., None], *what: Any) -> None:
        """Show something; when nobody can see it any more the recording ends, and is kept."""
        try:
            show(*what)
        except OSError:
            _silence(SHOWN_ON)
            self._end(HUNG_UP)

    def unless_asked_to_end(self, ask: Callable[[], Answer], otherwise: Answer) -> Answer:
        """The answer to a question; ``otherwise`` where a request to end came before it."""
        if self.why:
            return otherwise
        self._asking = True
        try:
            return ask()
        except _AskedToEnd:
            return otherwise
        except KeyboardInterrupt:
            if not self.why:
                raise
            return otherwise
        finally:
            self._asking = False

    def _asked(self, number: int, frame: object) -> None:
        del frame
        if REQUESTS[number] == HUNG_UP:
            _silence(self._terminals)
        self._end(REQUESTS[number])
        if self._asking:
            raise _AskedToEnd

    def _console_ends(self) -> bool:
        """Heard in a thread of its own, which waits until this program has ended by itself."""
        _silence(self._terminals)
        self._end(HUNG_UP)
        if self._asking:
            _thread.interrupt_main()
        return True

    def _end(self, why: str) -> None:
        if not self.why:
            self.why = why
            self._finish(why)


def _is_terminal(number: int) -> bool:
    try:
        return os.isatty(number)
    except OSError:
        return False


def _silence(numbers: "list[int] | tuple[int, ...]") -> None:
    """Whatever is still to be said goes nowhere: writing to a terminal that is gone would end the program."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for number in numbers:
        os.dup2(nowhere, number)
    os.close(nowhere)
