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

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from throwbook.core.analysis.baseline import Baseline, make_baseline
from throwbook.core.assessment import Assessment, Figures, Measured, Profile, Sign
from throwbook.core.diagnosis.assess import assess_record, assess_trace
from throwbook.core.rig import Rig
from throwbook.core.trace import Trace
from throwbook.errors import InputError, OutsideError

if TYPE_CHECKING:
    from pandas import DataFrame, Series
    from pint import Quantity, UnitRegistry

    from throwbook.core.export_schema import Column
    from throwbook.jobs.derived_tables import DerivedTables
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
    "quantity",
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


def to_frame(what: Trace | Profile | Baseline | Assessment | Iterable[Assessment]) -> "DataFrame":
    """A pandas table: one row a sample of a trace, one a grid point of a profile or baseline, one a judged throw.

    Columns carry their units in their names, and ``frame.attrs["units"]`` holds the unit of each. Of a throw: direction,
    movement (of how many in its record), usable, verdict, because, end, and for each figure its value and, as ``NAME_u``,
    its expanded uncertainty (k = 2); NaN where the record can't give it.

    >>> to_frame(read_trace("sample-runs/baseline/lock-1.csv")).columns.tolist()
    ['time_s', 'current_a', 'voltage_v']
    >>> rig = read_rig("sample-runs/yard-loader.toml")
    >>> throws = [assess_trace(read_trace(f"sample-runs/baseline/lock-{n}.csv"), rig) for n in (1, 2)]
    >>> to_frame(throws)["verdict"].tolist()
    ['pass', 'pass']
    """
    import pandas

    from throwbook.core.export_schema import TRIALS, VERDICTS

    if isinstance(what, Trace):
        frame = pandas.DataFrame(what.columns())
        return _described(frame, {name: UNITS[name] for name in frame if name in UNITS})
    if isinstance(what, Profile):
        # u: standard uncertainty
        columns = {"fraction": what.fraction, "current_a": what.current_a, "u_a": what.u_a}
        return _described(pandas.DataFrame(columns), UNITS)
    if isinstance(what, Baseline):
        columns = {
            "fraction": what.fraction,
            "current_a": what.median_a,
            "low_a": what.low_a,
            "high_a": what.high_a,
        }
        return _described(pandas.DataFrame(columns), UNITS)
    listed = [what] if isinstance(what, Assessment) else list(what)
    frame = pandas.DataFrame([_row(one) for one in listed])
    if listed:
        frame["started"] = _times(one.started for one in listed)
        frame["verdict"] = pandas.Categorical(frame["verdict"], VERDICTS, ordered=True)
    return _described(frame, {column.name: column.unit for column in TRIALS if column.is_number})


UNITS = {
    "time_s": "s",
    "current_a": "A",
    "voltage_v": "V",
    "temperature_c": "degC",
    "fraction": "1",
    "u_a": "A",
    "low_a": "A",
    "high_a": "A",
}


def _described(frame: "DataFrame", units: "Mapping[str, str]", **more: object) -> "DataFrame":
    """The frame with the units of its columns beside it."""
    frame.attrs.update(units={name: units[name] for name in frame.columns if name in units}, **more)
    return frame


def _times(values: "Iterable[str | datetime | None]") -> "Series":
    """ISO times as times in UTC; where one has no offset from UTC, all as the clock there had them."""
    import pandas

    times = [datetime.fromisoformat(value) if isinstance(value, str) else value for value in values]
    aware = all(one is None or one.tzinfo is not None for one in times)
    shown = times if aware else [one and one.replace(tzinfo=None) for one in times]
    return pandas.to_datetime(pandas.Series(shown, dtype=object), utc=aware)


def _column(column: "Column", values: "Sequence[Any]") -> "Series":
    """A column with the type of what it holds; what isn't known is missing."""
    import pandas

    from throwbook.core.export_schema import DAY, FLAG, TIME

    if column.unit == FLAG:
        return pandas.Series(values, dtype="boolean")
    if column.is_number:
        numbers = pandas.Series(values, dtype=float)
        return numbers.astype("Int64") if column.whole else numbers
    written = [value or None for value in values]
    if column.unit == TIME:
        return _times(written)
    if column.unit == DAY:
        return pandas.to_datetime(pandas.Series(written, dtype=object), format="ISO8601")
    if column.one_of:
        # an older logbook may hold a word that this version doesn't write any more
        more = sorted({value for value in written if value} - set(column.one_of))
        return pandas.Series(written, dtype=pandas.CategoricalDtype([*column.one_of, *more], ordered=True))
    return pandas.Series(values, dtype=object).infer_objects()


def _table(table: str, rows: "Iterable[Mapping[str, Any]]") -> "DataFrame":
    """Rows of a table as a frame: typed, described, looked up by what tells them apart."""
    import pandas

    from throwbook.core.wording import BOTH_PINS
    from throwbook.jobs.derived_tables import KEYS, TABLES

    columns = TABLES[table]
    listed = list(rows)
    frame = pandas.DataFrame(
        {column.name: _column(column, [row[column.name] for row in listed]) for column in columns}
    )
    key = [frame[name] for name in KEYS[table]]
    frame.index = pandas.MultiIndex.from_arrays(key) if len(key) > 1 else pandas.Index(key[0])
    frame.index.names = [None] * len(key)  # they stay columns too: two things of one name are ambiguous
    units = {column.name: column.unit for column in columns if column.is_number}
    what = {column.name: column.what for column in columns}
    frame = frame.sort_index(kind="stable") if len(key) > 1 else frame
    caution = {"caution": BOTH_PINS} if table == "status" else {}
    return _described(frame, units, table=table, what=what, **caution)


def quantity(
    what: "DataFrame | Trace | Profile | Baseline | Assessment",
    column: str,
    registry: "UnitRegistry[Any] | None" = None,
) -> "Quantity[Any]":
    """One column with its unit, as a pint quantity (an array); ``registry``: yours, else pint's own.

    Raises InputError for a column without a unit, or with rows of several units.

    >>> trace = read_trace("sample-runs/baseline/lock-1.csv")
    >>> f"{quantity(trace, 'current_a').max().to('mA'):.0f~P}"
    '13888 mA'
    """
    import pint

    from throwbook.core.export_schema import OWN_UNIT

    frame = to_frame(what) if isinstance(what, Trace | Profile | Baseline | Assessment) else what
    unit = frame.attrs.get("units", {}).get(column, "")
    if OWN_UNIT in unit:
        own = set(frame["unit"].dropna())
        unit = unit.replace(OWN_UNIT, own.pop()) if len(own) == 1 else ""
    if not unit or unit.startswith("in "):
        do = f"Columns with a unit: {', '.join(frame.attrs.get('units', {}))}. Of rows with several units take those of one."
        raise InputError("no one unit is known for it", f"column {column!r}", do)
    units: Any = registry or pint.application_registry
    quantity: Quantity[Any] = units.Quantity(
        frame[column].to_numpy(float), units.Unit(unit if unit != "1" else "")
    )
    return quantity


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


@dataclass(repr=False)
class LogbookReader:
    """A logbook that is open for reading. Use it with ``with``; nothing it does changes the file."""

    _book: "Logbook"
    _derived: "tuple[tuple[date, int | None], DerivedTables] | None" = None
    """What was worked out, and of which day and newest row."""

    def __repr__(self) -> str:
        return f"LogbookReader({str(self._book.path)!r})"

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
        """Names that ``to_frame`` takes: what is worked out (status, trend ...), then the tables of ``throwbook export``."""
        from throwbook.jobs.derived_tables import TABLES

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

    def to_frame(
        self, table: str, rigs: Sequence[str] | None = None, today: date | None = None
    ) -> "DataFrame":
        """One table as a pandas table, of all rigs or of some.

        The guide's ``columns.md`` lists every column. Times are in UTC, days have no time zone, words of a fixed set are
        categories. The index repeats what tells the rows apart: ``to_frame("status").loc["yard-loader"]``. The frame's
        ``attrs`` hold ``units`` and ``what`` by column. ``status``, ``trend`` and their like are as of ``today``. The first
        of them works out the trend of each rig, which takes its time.

        Raises InputError for a table or rig that isn't there.
        """
        from throwbook.core.export_schema import rows
        from throwbook.jobs.derived_tables import DERIVED, TABLES, DerivedTables
        from throwbook.jobs.logbook_care import gather, meters_of

        if table not in TABLES:
            raise InputError(f"no table is called {table!r}", "to_frame", f"One of: {', '.join(TABLES)}.")
        if isinstance(rigs, str):
            rigs = [rigs]
        names = [self._book.rig(name).rig for name in (self.rigs if rigs is None else rigs)]
        if table in DERIVED:
            day = today or datetime.now().astimezone().date()
            asked = (day, self._book.read("SELECT max(number) FROM entry")[0][0])
            if self._derived is None or self._derived[0] != asked:
                self._derived = asked, DerivedTables(self._book, day)
            return _table(table, self._derived[1].rows(table, names))
        if table == "meters":  # they are of no rig
            return _table(table, rows(table, meters_of(self._book)))
        return _table(table, (row for name in names for row in rows(table, gather(self._book, name))))


def open_logbook_readonly(path: str | Path | None = None) -> LogbookReader:
    """Open a logbook for reading; without a path, the one that the command line works on.

    Raises InputError for a file that isn't there or isn't a logbook, OutsideError when the disk stands in the way.

    Example::

        with open_logbook_readonly("my.throwbook") as book:
            book.to_frame("trials").groupby("direction")["run_current_a"].mean()
    """
    from throwbook.jobs.find import logbook_path
    from throwbook.logbook import open_logbook

    given = os.environ.get("THROWBOOK_LOGBOOK") if path is None else str(path)
    return LogbookReader(open_logbook(logbook_path(given), read_only=True))
