"""What gets worse, rig by rig: worked out once after each new row of a rig, and kept in a file beside the logbook.

Only the trend is kept, which takes long; a status never is. The logbook numbers and chains every row that it takes in, so
the number and the digest up to which trends were worked out tell which rigs have anything new since. Where they don't fit
(another file, a backup, another version of this program) all are worked out again. The file may be thrown away.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

from throwbook import __version__
from throwbook.core.assessment import METHOD_VERSION
from throwbook.core.rig import retired_because
from throwbook.core.status.urgency import Reached, Worsening
from throwbook.errors import OutsideError, ThrowbookError
from throwbook.jobs.find import logbook_path, opened
from throwbook.jobs.spread import spread
from throwbook.logbook import Logbook
from throwbook.logbook.all_rigs import AllRigs

SUFFIX = ".trends"
MADE_BY = f"trends-2 method {METHOD_VERSION} throwbook {__version__}"
"""What another version worked out isn't used."""
UNREADABLE = Worsening("unreadable", 2, "its trend cannot be read", "check the logbook for damage")
"""Told until trends are worked out the next time; then it is tried again."""
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Trends:
    """What is known of the rigs of a logbook as it stands."""

    known: Mapping[str, Worsening | None]
    """None: nothing gets worse. A rig with rows since isn't here."""
    number: int
    """Of the newest row of the logbook."""
    digest: str


def known_trends(book: Logbook) -> Trends:
    """What was kept and still holds."""
    newest = book.read("SELECT number, digest FROM entry ORDER BY number DESC LIMIT 1")
    number, digest = tuple(newest[0]) if newest else (0, "")
    stored = _read(_path(book.path))
    if stored is None or not _goes_on_from(book, stored):
        return Trends({}, number, digest)
    rows = book.read("SELECT DISTINCT rig FROM entry WHERE number > ?", [stored.number])
    new = {row[0] for row in rows}
    return Trends({rig: one for rig, one in stored.known.items() if rig not in new}, number, digest)


def work_out_trends(logbook: str | Path | None, progress: Progress | None = None) -> int:
    """Work out what isn't known and keep it; how many rigs that were. Spread over the processor's cores where there are many.

    A folder that can't be written keeps nothing: then it is all worked out each time.
    """
    path = logbook_path(None if logbook is None else str(logbook))
    with opened(path, read_only=True) as book, book.snapshot():
        trends = known_trends(book)
        rigs = AllRigs.of(book)
        thrown = rigs.trial_counts()
        names = [name for name in rigs.rig_names() if not retired_because(rigs.rig(name).toml)]
    known = {name: one for name, one in trends.known.items() if one != UNREADABLE}
    known |= {name: None for name in names if name not in known and name not in thrown}
    due = [name for name in names if name not in known]
    for results in spread(partial(_part, path), due):
        known |= results
        if progress is not None:
            progress(len(due) - sum(name not in known for name in due), len(due))
    if known != trends.known:
        _write(_path(path), Trends(known, trends.number, trends.digest))
    return len(due)


def _part(path: Path, names: Sequence[str]) -> dict[str, Worsening | None]:
    with opened(path, read_only=True) as book:
        return {name: worsening_in(book, name) for name in names}


def worsening_in(book: Logbook, name: str) -> Worsening | None:
    """Of one rig, profiles included; what can't be read is told as such."""
    from throwbook.core.trend.history import history_from
    from throwbook.jobs.trend import profiles_from_logbook, rows_from_logbook, trend_of

    try:
        trials = book.trials(rig=name)
        history = history_from(rows_from_logbook(book, name, trials), profiles_from_logbook(book, trials))
    except ThrowbookError:  # one rig's damage leaves the list of all others
        return UNREADABLE
    return trend_of(history, date.min).worsening


def _path(logbook: Path) -> Path:
    return logbook.with_name(logbook.name + SUFFIX)


def _goes_on_from(book: Logbook, stored: Trends) -> bool:
    """Whether the logbook still holds what the stored trends rest on, or is as empty."""
    rows = book.read("SELECT digest FROM entry WHERE number = ?", [stored.number])
    return (rows[0][0] if rows else "") == stored.digest and bool(rows or not stored.number)


def _read(path: Path) -> Trends | None:
    """None: there is none, or none that this version made."""
    try:
        held = json.loads(path.read_text("utf-8"))
        if held["made by"] != MADE_BY:
            return None
        known = {rig: _worsening(one) for rig, one in held["rigs"].items()}
        return Trends(known, int(held["number"]), str(held["digest"]))
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def _worsening(stored: Mapping[str, Any] | None) -> Worsening | None:
    if stored is None:
        return None
    limits = tuple(Reached(date.fromisoformat(on), cause, step) for on, cause, step in stored["limits"])
    earliest = date.fromisoformat(stored["earliest"]) if stored["earliest"] else None
    return Worsening(**{**stored, "limits": limits, "earliest": earliest})


def _write(path: Path, trends: Trends) -> None:
    from throwbook.files.tables import whole_file

    rigs = {
        rig: None
        if one is None
        else asdict(one) | {"limits": [[each.on.isoformat(), each.cause, each.step] for each in one.limits]}
        for rig, one in trends.known.items()
    }
    text = json.dumps(
        {"made by": MADE_BY, "number": trends.number, "digest": trends.digest, "rigs": rigs}, default=str
    )
    try:
        with whole_file(path) as part:
            part.write_text(text, "utf-8")
    except OutsideError:
        pass  # it is only quicker the next time
