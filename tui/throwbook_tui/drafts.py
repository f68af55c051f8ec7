"""What is being typed, kept on disk beside the logbook until it is entered: a crash loses none of it."""

import contextlib
import json
import os
import re
import tempfile
import threading
from collections.abc import Mapping
from pathlib import Path

from throwbook.errors import OutsideError
from throwbook.jobs.find import logbook_path

SUFFIX = ".json"


def draft_folder(logbook: str | None) -> Path:
    """Drafts stand beside the logbook they belong to."""
    path = logbook_path(logbook)
    return path.with_name(path.name + ".drafts")


def save_draft(logbook: str | None, name: str, values: Mapping[str, str]) -> None:
    """Put the draft ``name`` on disk, whole or not at all. Raises OutsideError (full disk)."""
    file = _file(logbook, name)
    try:
        file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        handle, scratch = tempfile.mkstemp(dir=file.parent, suffix=".part")
        with os.fdopen(handle, "w", encoding="utf-8") as out:
            json.dump(dict(values), out)
            out.flush()
            os.fsync(out.fileno())
        os.replace(scratch, file)
    except OSError as error:
        raise OutsideError(
            f"what is typed cannot be saved ({error.strerror})",
            str(file),
            "Make room, or write it on paper too.",
        ) from error


def load_draft(logbook: str | None, name: str) -> dict[str, str]:
    """The draft as it was left; empty when there is none or it can't be read."""
    try:
        found = json.loads(_file(logbook, name).read_text("utf-8"))
    except (OSError, ValueError):
        return {}
    if not isinstance(found, dict):
        return {}
    return {str(key): value for key, value in found.items() if isinstance(value, str)}


def drop_draft(logbook: str | None, name: str) -> None:
    """It was entered: the draft goes."""
    with contextlib.suppress(OSError):
        _file(logbook, name).unlink(missing_ok=True)


def _file(logbook: str | None, name: str) -> Path:
    return draft_folder(logbook) / (re.sub(r"[^\w.-]", "_", name) + SUFFIX)


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
