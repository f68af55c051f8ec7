"""A lone Esc answered after ESCDELAY, not at the next tenth of a second.

The terminal library looks whether a lone Esc has been waited for long enough only when its wait for keys ends, every
tenth of a second. Here the wait that follows a key is as short as it need be; the waits after it are as they were.
"""

import selectors
import sys
from types import SimpleNamespace

from textual.constants import ESCAPE_DELAY

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
