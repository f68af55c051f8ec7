"""The notebook's way in: read a trace, judge it, open a logbook for reading, get a table.

    >>> from throwbook import read_rig, read_trace, assess_trace
    >>> rig = read_rig("sample-runs/yard-loader.toml")
    >>> trace = read_trace("sample-runs/signs/stall-mid-way.csv")
    >>> found = assess_trace(trace, rig)
    >>> found.verdict, [sign.sign for sign in found.signs if sign.level == "fail"]
    ('fail', ['stall'])

A record may hold more than one movement: ``assess_record`` judges each, ``assess_trace`` gives the worst of them.

Everything is in SI units, and the unit stands in the name: ``trace.time_s``, ``found.figures.run_current_a``. A figure is
a pair of value and expanded uncertainty (k = 2), or None where the record can't give it. Nothing here writes.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from throwbook.core.analysis.baseline import Baseline, make_baseline
from throwbook.core.assessment import Assessment, Figures, Measured, Profile, Sign
from throwbook.core.diagnosis.assess import assess_record, assess_trace
from throwbook.core.rig import Rig
from throwbook.core.trace import Trace
from throwbook.errors import InputError, OutsideError

if TYPE_CHECKING:
    from pandas import DataFrame

    from throwbook.logbook import Logbook

__all__ = [
    "Assessment",
    "Baseline",
    "Figures",
    "InputError",
    "LogbookReader",
    "Measured",
    "OutsideError",
    "Profile",
    "Rig",
    "Sign",
    "Trace",
    "assess_record",
    "assess_trace",
    "make_baseline",
    "open_logbook_readonly",
    "read_rig",
    "read_trace",
    "to_frame",
]


def read_trace(path: str | Path) -> Trace:
    """Read a trace file, in the format of the guide's ``file-formats.md``.

    Raises InputError naming file and line for anything that isn't one.

    >>> trace = read_trace("sample-runs/baseline/lock-1.csv")
    >>> trace.direction, len(trace) > 1000, round(float(trace.current_a.max()), 0)
    ('lock', True, 14.0)
    """
    from throwbook.files.trace_file import read_trace as read

    return read(Path(path))


def read_rig(path: str | Path) -> Rig:
    """Read a rig file. Raises InputError naming what is wrong in it.

    >>> read_rig("sample-runs/yard-loader.toml").actuator.full_load_current_a
    5.0
    """
    from throwbook.files.rig_file import read_rig as read

    return read(Path(path))


def to_frame(what: Trace | Profile | Assessment | Iterable[Assessment]) -> "DataFrame":
    """A pandas table: one row a sample of a trace, one a grid point of a profile, one a judged throw.

    Columns carry their units in their names. Of a throw: direction, movement (of how many in its record), usable,
    verdict, because, end, and for each figure its value and, as ``NAME_u``, its expanded uncertainty (k = 2); NaN where the record can't give it.

    >>> to_frame(read_trace("sample-runs/baseline/lock-1.csv")).columns.tolist()
    ['time_s', 'current_a', 'voltage_v']
    >>> rig = read_rig("sample-runs/yard-loader.toml")
    >>> throws = [assess_trace(read_trace(f"sample-runs/baseline/lock-{n}.csv"), rig) for n in (1, 2)]
    >>> to_frame(throws)["verdict"].tolist()
    ['pass', 'pass']
    """
    import pandas

    if isinstance(what, Trace):
        return pandas.DataFrame(what.columns())
    if isinstance(what, Profile):
        return pandas.DataFrame(
            {
                "fraction": what.fraction,
                "current_a": what.current_a,
                "u_a": what.u_a,
            }  # u: standard uncertainty
        )
    listed = [what] if isinstance(what, Assessment) else list(what)
    return pandas.DataFrame([_row(one) for one in listed])


def _row(one: Assessment) -> dict[str, object]:
    row: dict[str, object] = {
        "file": one.file,
        "started": one.started,
        "direction": one.direction,
        "movement": one.movement,
        "movements": one.movements,
        "usable": one.usable,
        "verdict": one.verdict,
        "because": one.because,
        "end": one.end,
        "signs": ", ".join(sign.sign for sign in one.signs if sign.level != "info"),
    }
    for name, measured in one.figures.items():
        row[name] = float("nan") if measured is None else measured.value
        row[f"{name}_u"] = float("nan") if measured is None else measured.u
    return row


@dataclass
class LogbookReader:
    """A logbook that is open for reading. Use it with ``with``; nothing it does changes the file."""

    _book: "Logbook"

    def __enter__(self) -> "LogbookReader":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._book.close()

    @property
    def rigs(self) -> list[str]:
        """Names of the rigs."""
        return self._book.rig_names()

    @property
    def tables(self) -> list[str]:
        """Names that ``to_frame`` takes: the tables of ``throwbook export``."""
        from throwbook.core.export_schema import TABLES

        return list(TABLES)

    def rig(self, name: str) -> Rig:
        """A rig as it counts now. Raises InputError for a name that isn't there."""
        from throwbook.jobs.find import rig_of

        return rig_of(self._book, name)

    def trace(self, trial: str) -> Trace:
        """The samples of one trial, by the id in the table ``trials``. Raises InputError for one that isn't there."""
        return self._book.trace(trial)

    def baseline(self, rig: str, direction: str) -> Baseline | None:
        """What throws of this direction are compared with; None before there is any baseline throw."""
        from throwbook.jobs.find import baseline_for

        held = baseline_for(self._book, rig, direction)
        return None if held is None else held.baseline

    def to_frame(self, table: str, rigs: Sequence[str] | None = None) -> "DataFrame":
        """One table as a pandas table, of all rigs or of some; columns as ``throwbook export`` describes them.

        Raises InputError for a table or rig that isn't there.
        """
        import pandas

        from throwbook.core.export_schema import TABLES, rows
        from throwbook.jobs.logbook_care import gather

        if table not in TABLES:
            raise InputError(f"no table is called {table!r}", "to_frame", f"One of: {', '.join(TABLES)}.")
        names = [self._book.rig(name).rig for name in (self.rigs if rigs is None else rigs)]
        columns = [column.name for column in TABLES[table][0]]
        found = [row for name in names for row in rows(table, gather(self._book, name))]
        return pandas.DataFrame(found, columns=columns)


def open_logbook_readonly(path: str | Path) -> LogbookReader:
    """Open a logbook for reading.

    Raises InputError for a file that isn't there or isn't a logbook, OutsideError when the disk stands in the way.

    Example::

        with open_logbook_readonly("my.throwbook") as book:
            book.to_frame("trials").groupby("direction")["run_current_a"].mean()
    """
    from throwbook.logbook import open_logbook

    return LogbookReader(open_logbook(path, read_only=True))
