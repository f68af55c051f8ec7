"""Keeps one draft on disk: whichever thread comes last, the newest typing is what stands there."""

import threading
from collections.abc import Mapping

from logger.jobs.drafts import drop_draft, load_draft, save_draft


class DraftKeeper:
    """One form's draft."""

    def __init__(self, logbook: str | None, name: str) -> None:
        self._logbook, self._name = logbook, name
        self._lock = threading.Lock()
        self._newest: dict[str, str] | None = None

    def load(self) -> dict[str, str]:
        """As it was left."""
        return load_draft(self._logbook, self._name)

    def typed(self, values: Mapping[str, str]) -> None:
        """The newest state; ``save`` puts it on disk."""
        self._newest = dict(values)

    def save(self) -> None:
        """From any thread: write the newest state, unless it is there already."""
        with self._lock:
            values, self._newest = self._newest, None
            if values is not None:
                save_draft(self._logbook, self._name, values)

    def drop(self) -> None:
        """It was entered: nothing is left, and nothing on its way is written any more."""
        self._newest = None
        with self._lock:
            drop_draft(self._logbook, self._name)
