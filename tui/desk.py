"""What every screen works with: which logbook, who writes, what time it is, how a throw is recorded."""

import os
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from logger.core.stroke.live import LiveFigures
    from logger.jobs.record import RecordPlan


def _recording(
    plan: "RecordPlan",
    *,
    now: Callable[[], datetime],
    on_live: "Callable[[LiveFigures], None]",
    on_note: Callable[[str], None],
    on_ready: Callable[[Any], None],
) -> Any:
    from logger.jobs.record import Recording

    return Recording(plan, now=now, on_live=on_live, on_note=on_note, on_ready=on_ready)


def _find_boards(names: Sequence[str] = ()) -> Any:
    from logger.jobs.board import find_boards

    return find_boards(names)


def local_now() -> datetime:
    """This moment, with its offset from UTC."""
    return datetime.now().astimezone()


LOCALES = ("LC_ALL", "LC_CTYPE", "LANG")
"""The first of them that is set says which letters the terminal takes."""
PLAIN_TERMINALS = ("linux", "vt100", "vt102", "vt220", "dumb")
"""Their letters hold no dots to draw with. From memory."""


def plain_letters() -> bool:
    """Whether only ASCII may be drawn: asked for, or the terminal takes nothing else.

    Python itself writes UTF-8 under the locale C, so its encoding alone doesn't tell.
    """
    locale = next((os.environ[name] for name in LOCALES if os.environ.get(name)), "")
    if os.environ.get("THROWBOOK_ASCII") or locale in ("C", "POSIX"):
        return True
    if os.environ.get("TERM") in PLAIN_TERMINALS:
        return True
    encoding = (sys.stdout.encoding or "ascii").lower().replace("-", "")
    return encoding not in ("utf8", "cp65001")


@dataclass
class Desk:
    """One for the whole program; screens read it, only the practice switch changes ``logbook``."""

    logbook: str | None = None
    by: str = ""
    now: Callable[[], datetime] = local_now
    monotonic: Callable[[], float] = time.monotonic
    recording: Callable[..., Any] = _recording
    """Makes a recording from a plan; tests hand in one that plays a simulated throw."""
    find_boards: Callable[..., Any] = _find_boards
    """Asks at the ports of this computer (or those named) who is there."""
    ascii: bool = field(default_factory=plain_letters)
    port: str = ""
    """Port of the board that was used last."""
    baud: int = 115_200
    rate_hz: int = 200
    """Samples a second that a board is asked for."""
    practice: bool = False
    """A practice logbook is open: nothing in it speaks for a real machine."""
    simulated: bool = False
    """The logbook that was opened says of itself that it is one for practice, as the demo's does."""
    rests: dict[str, tuple[float, float]] = field(default_factory=dict)
    """Rig: when its rest is over by ``monotonic`` [s], and how long it was [s]."""
    by_hand: bool = False
    """The last throw was measured by hand: the next sheet begins so."""
    thrown_on: dict[str, str] = field(default_factory=dict)
    """Sheet: when its throws were made, as typed with the last one from paper."""
    ends: threading.Event = field(default_factory=threading.Event)
    """The program ends: nobody will answer any more."""
    recordings: int = 0
    """Throws that are being recorded or kept."""
    stop_rehearsal: threading.Event | None = None
    """Ends the rehearsal board that is open."""
    real_logbook: str | None = None
    """Where to go back to from practice."""

    @contextmanager
    def at_work(self) -> Iterator[None]:
        """A throw is being recorded or kept meanwhile: the program's end waits for it."""
        self.recordings += 1
        try:
            yield
        finally:
            self.recordings -= 1

    def end_practice(self) -> None:
        """Back to the real logbook; the rehearsal board ends."""
        if self.stop_rehearsal is not None:
            self.stop_rehearsal.set()
        self.practice, self.logbook, self.port, self.stop_rehearsal = False, self.real_logbook, "", None

    @property
    def today(self) -> date:
        """By the clock that was handed in."""
        return self.now().date()
